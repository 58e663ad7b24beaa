//! The code of a label read with the camera: the browser's own reader of codes is not in every build, so a stand-in sees
//! a code in the third picture of a camera that shows a test picture.

use serde_json::json;

use super::hands::Hands;
use super::{Walked, words};

/// Sees nothing in two pictures, then the code that the page left in `name`.
const READER: &str = "window.BarcodeDetector = class {
    constructor({ formats }) { this.seen = formats.includes('qr_code') ? 0 : -1e9; }
    async detect(video) { return video.videoWidth && ++this.seen > 2 ? [{ rawValue: window.name }] : []; }
};";

/// Whoever counts holds a label before the phone and comes to its line.
pub async fn finds_a_line(hands: &Hands<'_>) -> Walked<()> {
    let source = json!({"source": READER});
    hands.browser.cdp().send_raw("Page.addScriptToEvaluateOnNewDocument", source).await.map_err(words)?;
    hands.go("/").await?;
    hands.fill("email", "dorthe@tidemill.example").await?;
    hands.fill("password", "tidemill-demo-cellar").await?;
    hands.send().await?;
    hands.go("/counts").await?;
    let open: String = hands
        .eyes
        .ask(
            "return [...document.querySelectorAll('main a')].map(link => link.getAttribute('href')) \
             .find(href => /counts\\/[0-9a-z]{13}$/.test(href))",
        )
        .await?;
    hands.go(&open).await?;
    let code: String = hands
        .eyes
        .ask("return window.name = document.querySelector('main').innerText.match(/L-\\d+/)[0]")
        .await?;
    let offered = hands.find("form[data-scan] button[type=button]").await?;
    hands.press(&offered).await?;
    hands.comes_to("/lines/").await?;
    hands.says(&format!("Code {code}")).await?;
    let left: bool = hands.eyes.ask("return document.querySelector('video') === null").await?;
    if left { Ok(()) } else { Err("the camera is still on".to_owned()) }
}
