//! Chromium and its driver: started on a port that the driver finds free, ended with the test.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::json;
use thirtyfour::prelude::*;

use super::Look;

/// The driver process.
pub struct Chromedriver {
    child: Child,
    at: String,
}

impl Chromedriver {
    /// Starts it and reads from its first lines which port it found.
    pub fn start() -> Self {
        let mut child = Command::new("chromedriver")
            .args(["--port=0", "--allowed-ips=127.0.0.1"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is installed");
        let says = BufReader::new(child.stdout.take().expect("its words"));
        let port = says.lines().map_while(Result::ok).find_map(|line| {
            line.strip_prefix("ChromeDriver was started successfully on port ")
                .map(|port| port.trim_end_matches('.').to_owned())
        });
        Self { child, at: format!("http://127.0.0.1:{}", port.expect("chromedriver says its port")) }
    }

    /// A browser that looks at the pages in this way.
    pub async fn browser(&self, look: &Look) -> WebDriver {
        self.browser_in(look, None).await
    }

    /// The same with what it keeps in a folder, so that it is there again when it is opened anew.
    pub async fn browser_in(&self, look: &Look, folder: Option<&Path>) -> WebDriver {
        let mut wanted = DesiredCapabilities::chrome();
        if let Some(folder) = folder {
            wanted.add_arg(&format!("--user-data-dir={}", folder.display())).expect("an argument");
        }
        for argument in [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
            // A camera that shows a test picture, and may.
            "--use-fake-device-for-media-stream",
            "--use-fake-ui-for-media-stream",
        ] {
            wanted.add_arg(argument).expect("an argument");
        }
        let browser = WebDriver::new(&self.at, wanted).await.expect("Chromium starts");
        resize(&browser, look.width, look.height).await.expect("a size");
        let tools = browser.cdp();
        let scheme = json!({"features": [{"name": "prefers-color-scheme", "value": look.scheme}]});
        tools.send_raw("Emulation.setEmulatedMedia", scheme).await.expect("a scheme");
        scripts(&browser, look.script).await.expect("with JavaScript or without");
        browser
    }
}

/// Whether scripts of the page run; what the test asks of the page does in any case, if it needs no waiting.
pub async fn scripts(browser: &WebDriver, run: bool) -> Result<(), String> {
    let without = json!({"value": !run});
    let set = browser.cdp().send_raw("Emulation.setScriptExecutionDisabled", without).await;
    set.map(drop).map_err(super::words)
}

/// Gives the window this size.
pub async fn resize(browser: &WebDriver, width: u32, height: u32) -> Result<(), String> {
    let size = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500});
    let set = browser.cdp().send_raw("Emulation.setDeviceMetricsOverride", size).await;
    set.map(drop).map_err(super::words)
}

impl Drop for Chromedriver {
    fn drop(&mut self) {
        // It ends its browsers when asked to; where it does not answer, the process is ended.
        let _ = ureq::get(format!("{}/shutdown", self.at)).call();
        let asked = Instant::now();
        while asked.elapsed() < Duration::from_secs(5) {
            if self.child.try_wait().is_ok_and(|ended| ended.is_some()) {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
