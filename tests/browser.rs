//! The main job in a real browser, as a member does it by hand: on a phone and on a desk, light and dark, with
//! JavaScript and without; and each page looked over by an engine for accessibility.

use std::net::TcpListener;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use actix_web::dev::ServerHandle;
use actix_web::rt::System;
use serde_json::json;
use thirtyfour::components::SelectElement;
use thirtyfour::prelude::*;
use undercroft::jobs::demo;
use undercroft::web::server::{Settings, serve_on};

use crate::ground::{Ground, run};

/// One way of looking at the pages.
struct Look {
    name: &'static str,
    width: u32,
    height: u32,
    scheme: &'static str,
    script: bool,
}

const LOOKS: [Look; 4] = [
    Look { name: "phone, light, with JavaScript", width: 360, height: 740, scheme: "light", script: true },
    Look { name: "phone, dark, without JavaScript", width: 360, height: 740, scheme: "dark", script: false },
    Look {
        name: "desk, light, without JavaScript",
        width: 1280,
        height: 800,
        scheme: "light",
        script: false,
    },
    Look { name: "desk, dark, with JavaScript", width: 1280, height: 800, scheme: "dark", script: true },
];

#[test]
#[ignore = "needs Chromium with chromedriver, and axe: UNDERCROFT_AXE"]
fn the_main_job_is_done_by_hand_in_every_look() {
    run(Ground::sqlite(), async |ground: &Ground| {
        let house = House::open(ground).await;
        let driver = Chromedriver::start();
        for look in &LOOKS {
            let browser = driver.browser(look).await;
            let done = Walk { browser: &browser, at: &house.at, look }.main_job().await;
            browser.clone().quit().await.expect("the browser ends");
            done.unwrap_or_else(|error| panic!("{}: {error}", look.name));
        }
        house.handle.stop(false).await;
    });
}

/// The real server with the demo club.
struct House {
    at: String,
    handle: ServerHandle,
}

impl House {
    async fn open(ground: &Ground) -> Self {
        let db = ground.open();
        demo::load(&db, undercroft::web::extract::now()).await.expect("the demo club loads");
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("its address");
        let settings = Settings { workers: 1, ..Settings::on(address) };
        let (say, hear) = mpsc::channel();
        std::thread::spawn(move || {
            System::new().block_on(async {
                let server = serve_on(listener, db, settings).expect("the server starts");
                say.send(server.handle()).expect("the test waits for it");
                server.await
            })
        });
        let handle = hear.recv().expect("the server runs");
        Self { at: format!("http://{address}"), handle }
    }
}

/// The driver process; it ends with the test.
struct Chromedriver {
    child: Child,
    port: u16,
}

impl Chromedriver {
    fn start() -> Self {
        let port =
            TcpListener::bind("127.0.0.1:0").and_then(|free| free.local_addr()).expect("a free port").port();
        let child = Command::new("chromedriver")
            .args([format!("--port={port}"), "--allowed-ips=127.0.0.1".to_owned()])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is installed");
        let started = std::time::Instant::now();
        while std::net::TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(started.elapsed() < Duration::from_secs(20), "chromedriver does not answer");
            std::thread::sleep(Duration::from_millis(50));
        }
        Self { child, port }
    }

    async fn browser(&self, look: &Look) -> WebDriver {
        let mut wanted = DesiredCapabilities::chrome();
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
        ] {
            wanted.add_arg(argument).expect("an argument");
        }
        if !look.script {
            wanted
                .add_experimental_option(
                    "prefs",
                    json!({"profile.managed_default_content_settings.javascript": 2}),
                )
                .expect("a preference");
        }
        let browser =
            WebDriver::new(format!("http://127.0.0.1:{}", self.port), wanted).await.expect("Chromium starts");
        let tools = browser.cdp();
        let size = json!({"width": look.width, "height": look.height, "deviceScaleFactor": 1, "mobile": look.width < 500});
        tools.send_raw("Emulation.setDeviceMetricsOverride", size).await.expect("a size");
        let scheme = json!({"features": [{"name": "prefers-color-scheme", "value": look.scheme}]});
        tools.send_raw("Emulation.setEmulatedMedia", scheme).await.expect("a scheme");
        browser
    }
}

impl Drop for Chromedriver {
    fn drop(&mut self) {
        // It was started here; that it has gone already is no trouble.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// One walk through the main job.
struct Walk<'w> {
    browser: &'w WebDriver,
    at: &'w str,
    look: &'w Look,
}

type Walked<T> = Result<T, String>;

fn words(error: impl std::fmt::Display) -> String {
    error.to_string()
}

impl Walk<'_> {
    async fn go(&self, path: &str) -> Walked<()> {
        let address = if path.starts_with("http") { path.to_owned() } else { format!("{}{path}", self.at) };
        self.browser.goto(address).await.map_err(words)?;
        self.look_over().await
    }

    async fn field(&self, name: &str) -> Walked<WebElement> {
        let found = self.browser.find(By::Css(format!("[name='{name}']"))).await;
        let found = found.map_err(|error| format!("no field {name}: {error}"))?;
        if !found.is_displayed().await.map_err(words)? {
            self.unfold(&found).await?;
        }
        Ok(found)
    }

    /// A group of a form that is folded is opened by its summary, as a finger would.
    async fn unfold(&self, inside: &WebElement) -> Walked<()> {
        let folded = inside.find(By::XPath("ancestor::details[not(@open)]/summary")).await.map_err(words)?;
        self.press_on(&folded).await
    }

    async fn press_on(&self, target: &WebElement) -> Walked<()> {
        target.scroll_into_view().await.map_err(words)?;
        target.click().await.map_err(words)
    }

    async fn fill(&self, name: &str, text: &str) -> Walked<()> {
        let field = self.field(name).await?;
        field.clear().await.map_err(words)?;
        field.send_keys(text).await.map_err(|error| format!("{name}: {error}"))
    }

    /// Chooses the first answer whose text holds `part`.
    async fn choose(&self, name: &str, part: &str) -> Walked<()> {
        let select = SelectElement::new(&self.field(name).await?).await.map_err(words)?;
        for option in select.options().await.map_err(words)? {
            let text = option.text().await.map_err(words)?;
            if text.contains(part) {
                return select
                    .select_by_exact_text(text.trim())
                    .await
                    .map_err(|error| format!("{name}, {text}: {error}"));
            }
        }
        Err(format!("{name} does not offer “{part}”"))
    }

    /// Presses the one filled button, and says where that led.
    async fn send(&self) -> Walked<String> {
        let before = self.browser.current_url().await.map_err(words)?;
        let button = self.browser.find(By::Css("main form button.do")).await.map_err(words)?;
        self.press_on(&button).await?;
        tokio::time::sleep(Duration::from_millis(150)).await;
        self.look_over().await?;
        let after = self.browser.current_url().await.map_err(words)?;
        let problems = self.browser.find_all(By::Css(".problem li")).await.map_err(words)?;
        if let Some(problem) = problems.first() {
            return Err(format!("{before} says: {}", problem.text().await.map_err(words)?));
        }
        Ok(after.to_string())
    }

    async fn says(&self, part: &str) -> Walked<()> {
        let text = self.browser.find(By::Tag("body")).await.map_err(words)?.text().await.map_err(words)?;
        if text.contains(part) { Ok(()) } else { Err(format!("the page does not say “{part}”: {text}")) }
    }

    /// No page is wider than the window; with JavaScript, the engine for accessibility finds nothing.
    async fn look_over(&self) -> Walked<()> {
        let url = self.browser.current_url().await.map_err(words)?;
        if !self.look.script {
            return Ok(());
        }
        let wide = self
            .browser
            .execute("return document.documentElement.scrollWidth", Vec::new())
            .await
            .map_err(words)?;
        let wide = wide.json().as_u64().unwrap_or(0);
        if wide > u64::from(self.look.width) {
            return Err(format!("{url} is {wide} px wide"));
        }
        let axe = std::env::var("UNDERCROFT_AXE").map_err(|_| "UNDERCROFT_AXE names axe.min.js")?;
        let engine = std::fs::read_to_string(axe).map_err(words)?;
        self.browser.execute(engine, Vec::new()).await.map_err(words)?;
        let asked = "const done = arguments[arguments.length - 1]; axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', \
                     'wcag21a', 'wcag21aa', 'wcag22aa']}).then(r => done(r.violations.map(v => v.id + ': ' + \
                     v.nodes.slice(0, 3).map(n => n.html).join(' | '))))";
        let found = self.browser.execute_async(asked, Vec::new()).await.map_err(words)?;
        let found: Vec<String> = found.convert().map_err(words)?;
        if found.is_empty() { Ok(()) } else { Err(format!("{url}: {found:#?}")) }
    }

    async fn main_job(&self) -> Walked<()> {
        self.sign_in().await?;
        for page in [
            "/",
            "/stores",
            "/stores/items",
            "/stores/places",
            "/batches",
            "/batches?stage=all",
            "/bottles",
            "/reports",
            "/club",
            "/me",
        ] {
            self.go(page).await?;
        }
        self.receive().await?;
        let batch = self.make().await?;
        let bottling = self.bottle(&batch).await?;
        self.look_back(&batch, &bottling).await?;
        self.take_and_reverse(&bottling).await
    }

    async fn sign_in(&self) -> Walked<()> {
        self.go("/").await?;
        self.fill("email", "marit@tidemill.example").await?;
        self.fill("password", "tidemill-demo-cellar").await?;
        self.send().await?;
        self.says("Tidemill Cellar Club").await
    }

    async fn receive(&self) -> Walked<()> {
        self.go("/stores/receipts/new").await?;
        self.choose("lines.0.item", "heep").await?;
        self.fill("lines.0.quantity", "24 cans").await?;
        self.fill("lines.0.cost", "26,40").await?;
        self.choose("lines.0.place", "luice").await?;
        // A mistake first: it is named, nothing is lost, and nothing was recorded.
        let refused = self.send().await;
        if refused.is_ok() {
            return Err("“24 cans” was taken".to_owned());
        }
        self.says("There is a problem").await?;
        self.fill("lines.0.quantity", "24 L").await?;
        self.send().await?;
        Ok(())
    }

    async fn make(&self) -> Walked<String> {
        self.go("/batches/new").await?;
        self.fill("name", &format!("Tide White, {}", self.look.name.split(',').next().unwrap_or_default()))
            .await?;
        self.fill("base_volume", "20 L").await?;
        let batch = self.send().await?;
        self.go(&format!("{batch}/draw")).await?;
        self.choose("lines.0.source", "heep").await?;
        self.fill("lines.0.quantity", "20 L").await?;
        self.fill("volume_after", "20 L").await?;
        self.send().await?;
        self.go(&format!("{batch}/by-product")).await?;
        self.choose("item", "urd").await?;
        self.fill("quantity", "4.4 kg").await?;
        self.fill("volume_after", "15 L").await?;
        self.choose("place", "luice").await?;
        self.send().await?;
        self.go(&format!("{batch}/pitch")).await?;
        self.choose("lines.0.source", "east").await?;
        self.fill("lines.0.quantity", "5 g").await?;
        self.send().await?;
        for (gravity, sample) in [("1.0820", "20"), ("1.0100", "18")] {
            self.go(&format!("{batch}/reading")).await?;
            self.fill("gravity", gravity).await?;
            self.fill("sample_temperature_c", sample).await?;
            self.send().await?;
        }
        self.says("working").await?;
        Ok(batch)
    }

    async fn bottle(&self, batch: &str) -> Walked<String> {
        self.go(&format!("{batch}/rack")).await?;
        self.fill("volume_after", "14 L").await?;
        self.send().await?;
        self.go(&format!("{batch}/bottle")).await?;
        self.fill("bottles", "18").await?;
        self.fill("lost_volume", "500 mL").await?;
        self.choose("packaging.0.source", "ottle").await?;
        self.fill("packaging.0.quantity", "18").await?;
        self.choose("place", "heel").await?;
        self.send().await
    }

    async fn look_back(&self, batch: &str, bottling: &str) -> Walked<()> {
        self.says("18").await?;
        self.go(&format!("{bottling}/cost")).await?;
        self.says("a bottle").await?;
        self.go(&format!("{batch}/yield")).await?;
        self.says("Not accounted for").await?;
        self.go(&format!("{batch}/cost")).await?;
        self.go(batch).await?;
        self.says("laid down").await
    }

    async fn take_and_reverse(&self, bottling: &str) -> Walked<()> {
        self.go(bottling).await?;
        self.fill("bottles", "2").await?;
        let taken = self.browser.find(By::Css("[name='reason'][value='taken']")).await.map_err(words)?;
        self.press_on(&taken).await?;
        self.send().await?;
        self.go(bottling).await?;
        self.says("16").await?;
        let undo = self.browser.find(By::Css(".trail details.undo summary")).await.map_err(words)?;
        self.press_on(&undo).await?;
        let reason =
            self.browser.find(By::Css(".trail details.undo[open] [name='reason']")).await.map_err(words)?;
        reason.send_keys("they were put back").await.map_err(words)?;
        let button = self.browser.find(By::Css(".trail details.undo[open] button")).await.map_err(words)?;
        self.press_on(&button).await?;
        self.go(bottling).await?;
        self.says("Reversed").await?;
        self.says("18").await
    }
}
