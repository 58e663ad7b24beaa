//! Labels on paper: the words can be taken out of the PDF, and a phone reads the code at the size at which it is printed.

use std::process::Command;

use undercroft::actions::members::{Visitor, sign_in};
use undercroft::db::stock::Bringing;
use undercroft::domain::labels::Sheet;
use undercroft::domain::members::Password;
use undercroft::jobs::demo;
use undercroft::web::extract::now;

use super::Server;
use crate::ground::{Ground, run};

#[test]
#[ignore = "needs pdftotext and pdftoppm (poppler-utils) and zbarimg (zbar-tools)"]
fn a_label_is_read_by_people_and_by_phones() {
    run(Ground::sqlite(), a_label_is_read);
}

fn said(program: &str, arguments: &[&str]) -> String {
    let out = Command::new(program).args(arguments).output();
    let out = out.unwrap_or_else(|error| panic!("{program} does not start: {error}"));
    assert!(out.status.success(), "{program} {arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).expect("text")
}

async fn a_label_is_read(ground: &Ground) {
    let db = ground.open();
    let loaded = demo::load(&db, now()).await.unwrap_or_else(|why| panic!("{why}"));
    let club = loaded.club;
    let left = db.read(move |conn| undercroft::db::bottles::with_bottles_left(conn, club)).await;
    let left = left.expect("bottlings").into_iter().map(|left| left.bottling);
    let wine =
        left.into_iter().find(|bottling| bottling.name.contains("White")).expect("whey wine is laid down");
    let server = Server::start(&db);
    let visitor = Visitor { device: String::new(), address: "127.0.0.1".to_owned(), now: now() };
    let password = Password::new(loaded.password);
    let session = sign_in(&db, &loaded.sign_in_as, &password, &visitor).await.expect("she signs in").0;
    let session = session.reveal();
    let folder = std::env::temp_dir().join(format!("undercroft-labels-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("the temporary folder can be written");
    for (sheet, count, pages, first) in
        [("a4-2x4", 9_i64, 2, 8_i64), ("a4-3x8", 24, 1, 24), ("letter-3x10", 3, 1, 3)]
    {
        let path =
            format!("/bottles/{}/labels.pdf?sheet={sheet}&count={count}&used=0&keep=Lay+down+cool", wine.id);
        let (status, pdf) = server.file(session, &path);
        assert_eq!(status, 200, "{sheet}");
        let file = folder.join(format!("{sheet}.pdf"));
        std::fs::write(&file, pdf).expect("it can be written");
        let path = file.to_str().expect("a plain path");
        let text = said("pdftotext", &["-layout", path, "-"]);
        let times =
            |words: &str| text.split_whitespace().collect::<Vec<_>>().join(" ").matches(words).count();
        assert_eq!(i64::try_from(times("minors")), Ok(count), "{sheet}: {text}");
        assert!(text.contains(&wine.code) && text.contains("milk") && text.contains("% vol"), "{text}");
        let known = said("pdfinfo", &[path]);
        assert!(known.contains(&format!("Pages:           {pages}")), "{known}");
        let fonts = said("pdffonts", &[path]);
        assert!(
            fonts.lines().skip(2).all(|line| line.contains("yes yes yes")),
            "embedded, in part, to be copied: {fonts}"
        );
        // 300 dots an inch are what a plain printer makes; a phone is held before one label.
        for at in [0, first / 2, first - 1] {
            let codes = read_code(Sheet::from_code(sheet).expect("a sheet"), at, path);
            let address = format!("/b/{}", wine.id);
            assert!(codes.trim_end().ends_with(&address), "label {at} of {sheet}: {codes}");
        }
    }
    for wrong in ["sheet=a5", "count=0", "count=1001", "used=8", "right=9", "down=x"] {
        let path = format!("/bottles/{}/labels.pdf?{wrong}", wine.id);
        let heard = server.open_page(session, &path);
        assert_eq!(heard.status, 422, "{wrong}");
        assert!(heard.body.contains("There is a problem"), "{wrong}");
    }
    let receipts = db.read(move |conn| undercroft::db::stock::latest_receipts(conn, club, 20)).await;
    let receipt =
        receipts.expect("receipts").into_iter().max_by_key(|one| one.items.len()).expect("a receipt");
    let of = Bringing::Receipt(receipt.entry);
    let lots = db.read(move |conn| undercroft::db::stock::brought(conn, club, of)).await.expect("lots");
    assert!(lots.len() > 1, "{receipt:?}");
    let twice: Vec<String> = lots.iter().map(|lot| format!("each.{}=2", lot.code)).collect();
    let path = format!("/entries/{}/labels.pdf?sheet=a4-3x8&used=1&{}", receipt.entry, twice.join("&"));
    let (status, pdf) = server.file(session, &path);
    assert_eq!(status, 200);
    let file = folder.join("receipt.pdf");
    std::fs::write(&file, pdf).expect("it can be written");
    let path = file.to_str().expect("a plain path");
    let text = said("pdftotext", &["-layout", path, "-"]);
    for (at, lot) in (0_i64..).zip(&lots) {
        assert_eq!(text.matches(&format!("Lot {}, came", lot.code)).count(), 2, "{text}");
        let code = read_code(Sheet::from_code("a4-3x8").expect("a sheet"), 1 + 2 * at, path);
        assert!(code.trim_end().ends_with(&format!("/l/{}", lot.lot)), "label of {}: {code}", lot.code);
    }
    let heard = server.open_page(session, &format!("/b/{}", wine.id));
    assert_eq!((heard.status, heard.location), (303, format!("/bottles/{}", wine.id)));
    std::fs::remove_dir_all(&folder).expect("the temporary folder is ours");
    server.end().await;
}

/// What the code on a label of the first page says.
fn read_code(sheet: Sheet, at: i64, path: &str) -> String {
    let dots = |micrometres: i64| (micrometres * 300 / 25_400).to_string();
    let corner = sheet.corner(at);
    let picture = path.replace(".pdf", &format!("-{at}"));
    said(
        "pdftoppm",
        &[
            "-r",
            "300",
            "-png",
            "-singlefile",
            "-f",
            "1",
            "-l",
            "1",
            "-x",
            &dots(corner.0),
            "-y",
            &dots(corner.1),
            "-W",
            &dots(sheet.label.0),
            "-H",
            &dots(sheet.label.1),
            path,
            &picture,
        ],
    );
    said("zbarimg", &["--quiet", "--raw", &format!("{picture}.png")])
}
