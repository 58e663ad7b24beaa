//! Files of loggers, read.

use crate::domain::intake::tables::decode;
use std::fmt::Write;

use super::*;

fn zone() -> Tz {
    "Europe/Amsterdam".parse().unwrap()
}

fn now() -> Instant {
    "2026-12-31T12:00:00".parse().unwrap()
}

fn log(text: &str) -> Log {
    read(text, &Said::default(), zone(), now()).unwrap_or_else(|why| panic!("{text}: {why}"))
}

fn refused(text: &str) -> Refusal {
    read(text, &Said::default(), zone(), now()).unwrap_err()
}

fn told(log: &Log) -> Vec<String> {
    let told = |row: &Logged| format!("{} {} {}", row.at, row.kind.code(), row.value.plain());
    log.rows.iter().map(told).collect()
}

#[test]
fn the_same_readings_are_read_from_every_common_form() {
    let expected = [
        "2026-06-13 13:40:00 gravity 1.046",
        "2026-06-13 13:40:00 temperature 19.5",
        "2026-06-13 14:40:00 gravity 1.045",
        "2026-06-13 14:40:00 temperature 20",
    ];
    for text in [
        "time,SG,Temperature °C\n2026-06-13T15:40:00+02:00,1.046,19.5\n2026-06-13T16:40:00+02:00,1.045,20\n",
        "Timestamp;Gravity;Temp (C)\r\n13.06.2026 15:40;1,046;19,5\r\n13.06.2026 16:40;1,045;20\r\n",
        "Date\tTime\tSG\tTemp F\u{b0}\n06/13/2026\t3:40 PM\t1.046\t19.5\n06/13/2026\t4:40 PM\t1.045\t20\n",
        "Datum;Uhrzeit;Dichte;Temperatur\n13/6/26;15:40:00;1046;19,5\n13/6/26;16:40:00;1045;20\n",
        "\u{feff}device 7\n\nepoch,gravity,temp,battery\n1781358000,1.0460,19.5,3.9\n1781361600,1.0450,20.0,3.9\n",
        "2026-06-13 15:40:00,1046,x\n2026-06-13 16:40:00,1045,x\n",
    ] {
        let log = log(text);
        let found = told(&log);
        if text.ends_with("x\n") {
            assert_eq!(found, [expected[0], expected[2]], "{text}");
        } else if text.contains("Temp F") {
            assert_eq!(found[0], expected[0]);
            assert_eq!(found[1], "2026-06-13 13:40:00 temperature 19.5", "no °F is said by that head");
        } else {
            assert_eq!(found, expected, "{text}");
        }
        assert_eq!((log.bad_in_all, log.doubled, log.unsorted), (0, 0, 0), "{text}");
    }
}

#[test]
fn other_scales_are_converted() {
    // C: 12.397 °Brix is SG 1.050 (ICUMSA); 68 °F is 20 °C.
    let log = log("date,Brix,Temperature (°F)\n2026-06-13 10:00,12.397,68\n");
    assert_eq!(told(&log), ["2026-06-13 08:00:00 gravity 1.05", "2026-06-13 08:00:00 temperature 20"]);
}

#[test]
fn whether_the_day_or_the_month_comes_first_is_asked_where_no_row_tells() {
    let text = "time;sg\n03/04/2026 10:00;1.046\n04/04/2026 10:00;1.045\n";
    let refusal = refused(text);
    assert_eq!(refusal.faults[0].field, "date_order");
    let said = |order| Said { order: Some(order), ..Said::default() };
    let day = read(text, &said(Order::DayFirst), zone(), now()).unwrap();
    assert_eq!(day.rows[0].at.to_string(), "2026-04-03 08:00:00");
    let month = read(text, &said(Order::MonthFirst), zone(), now()).unwrap();
    assert_eq!(month.rows[0].at.to_string(), "2026-03-04 09:00:00");
    // One row with a 13 tells it of all.
    assert_eq!(log(&format!("{text}13/04/2026 10:00;1.044\n")).rows[0].at.to_string(), "2026-04-03 08:00:00");
}

#[test]
fn doubled_unsorted_and_missing_rows_are_put_in_order_and_counted() {
    let mut text = "time,sg\n".to_owned();
    for minute in [0, 15, 45, 30, 30] {
        writeln!(text, "2026-06-13 10:{minute:02},1.04{}", minute / 15).unwrap();
    }
    text += "2026-06-13 18:00,1.030\n";
    let log = log(&text);
    assert_eq!(log.rows.len(), 5);
    assert!(log.rows.windows(2).all(|pair| pair[0].at < pair[1].at));
    assert_eq!((log.doubled, log.unsorted), (1, 2));
    assert_eq!(log.gaps.len(), 1);
    assert_eq!(log.gaps[0].1.to_string(), "2026-06-13 16:00:00");
}

#[test]
fn every_bad_row_is_named_with_its_line_and_why() {
    let text = "time;SG;temp\n13.06.2026 10:00;1,046;20\n13.06.2026 25:00;1,046;20\n31.02.2026 10:00;1,046;20\n\
                13.06.2026 11:00;45;20\n13.06.2026 12:00;;\n13.06.2099 12:00;1,04;20\nsoon;1,04;20\n\
                13.06.2026 13:00;1,04O;20\n13.06.2026 14:00;1,04;300\n";
    let log = log(text);
    assert_eq!(log.rows.len(), 2);
    let bad: Vec<(u64, &str)> = log.bad.iter().map(|bad| (bad.line, bad.why.as_str())).collect();
    let expected = [
        (3, "no time"),
        (4, "no day"),
        (5, "between 0.9700 and 1.4200"),
        (6, "no value in this row"),
        (7, "still to come"),
        (8, "no day"),
        (9, "1,04O"),
        (10, "between -30.0 and 120.0"),
    ];
    assert_eq!(bad.len(), expected.len(), "{bad:?}");
    for ((line, why), (expected_line, words)) in bad.iter().zip(expected) {
        assert_eq!(*line, expected_line);
        assert!(why.replace('−', "-").contains(words), "line {line}: {why}");
    }
}

#[test]
fn what_is_no_table_says_what_to_do() {
    for (text, field, words) in [
        ("", "rows", "paste"),
        ("gravity went down nicely", "rows", "semicolon"),
        ("a,b\nc,d\n", "rows", "holds a day"),
        ("time,colour\n2026-06-13 10:00,3\n", "rows", "known as gravity"),
        ("2026-06-13 10:00,20.5\n", "temperature_in", "say in what"),
        ("time,gravity\n2026-06-13 10:00,12.5\n", "gravity_in", "In what"),
    ] {
        let refusal = refused(text);
        assert_eq!(refusal.faults[0].field, field, "{text}: {refusal}");
        assert!(refusal.to_string().contains(words), "{text}: {refusal}");
    }
    let many = "2026-06-13 10:00,1.04\n".repeat(MOST_ROWS + 2);
    assert!(refused(&many).to_string().contains("At most 50000"));
}

#[test]
fn a_night_in_which_the_clocks_change_is_read() {
    let log = log("time,sg\n2026-03-29 01:30,1.040\n2026-03-29 02:30,1.039\n2026-03-29 03:30,1.038\n");
    assert!(!log.rows.is_empty() && log.bad_in_all == 0, "{log:?}");
}

#[test]
fn bytes_of_other_encodings_are_read() {
    assert_eq!(decode(b"\xEF\xBB\xBFTemp".to_vec()), "Temp");
    assert_eq!(decode(b"Temp \xB0C".to_vec()), "Temp °C");
    assert_eq!(decode("Temp °C".as_bytes().to_vec()), "Temp °C");
    let wide: Vec<u8> =
        [0xFF, 0xFE].into_iter().chain("°C".encode_utf16().flat_map(u16::to_le_bytes)).collect();
    assert_eq!(decode(wide), "°C");
}

#[test]
fn twenty_thousand_rows_are_read_at_once() {
    let mut text = "time,sg,temp\n".to_owned();
    let start: NaiveStart = "2026-01-01T00:00:00".parse().unwrap();
    for at in 0..20_000_i64 {
        let time = start + chrono::Duration::minutes(15 * at);
        writeln!(text, "{},1.0{:02},{}", time.format("%Y-%m-%d %H:%M"), 46 - at / 1000, 18 + at % 3).unwrap();
    }
    let log = log(&text);
    assert!(log.rows.len() >= 39_900, "{} of 40000, but for the hours when clocks change", log.rows.len());
}

type NaiveStart = chrono::NaiveDateTime;

proptest::proptest! {
    #[test]
    fn no_text_makes_it_break(text in "[ -~°,;\t\n0-9:.-]{0,200}") {
        let _ = read(&text, &Said::default(), zone(), now());
    }
}
