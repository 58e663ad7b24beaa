//! What a browser says it is, in two words. The marks are from memory; what has none of them is shown as
//! it is.

/// The first mark that is found decides: browsers that are built on another name it, too.
const BROWSERS: [(&str, &str); 7] = [
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser", "Samsung Internet"),
    ("Firefox/", "Firefox"),
    ("FxiOS", "Firefox"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
];
const SYSTEMS: [(&str, &str); 7] = [
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("CrOS", "ChromeOS"),
    ("Mac OS X", "Mac"),
    ("Linux", "Linux"),
];

/// "Firefox, Android"; the text itself where nothing is recognised.
pub fn name(said: &str) -> String {
    let find =
        |marks: &[(&str, &'static str)]| marks.iter().find(|mark| said.contains(mark.0)).map(|mark| mark.1);
    match (find(&BROWSERS), find(&SYSTEMS)) {
        (Some(browser), Some(system)) => format!("{browser}, {system}"),
        (Some(one), None) | (None, Some(one)) => one.to_owned(),
        (None, None) if said.is_empty() => "A program that does not say what it is".to_owned(),
        (None, None) => said.chars().take(60).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::name;

    #[test]
    fn a_browser_is_named_in_two_words() {
        for (said, named) in [
            ("Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0", "Firefox, Android"),
            (
                "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0 \
                 Safari/537.36 Edg/140.0",
                "Edge, Windows",
            ),
            (
                "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 Version/18.0 Mobile \
                 Safari/604.1",
                "Safari, iPhone",
            ),
            ("curl/8.5.0", "curl/8.5.0"),
            ("", "A program that does not say what it is"),
        ] {
            assert_eq!(name(said), named);
        }
    }
}
