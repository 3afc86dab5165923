//! Text from files made safe to stand in HTML and SVG.

/// `text` with the five characters that mean something in HTML and XML written as entities, and without control
/// characters, which no XML document may hold. Safe as an element's text and inside a quoted attribute.
pub fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\n' | '\t' => safe.push(' '),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => safe.push('\u{fffd}'),
            c => safe.push(c),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::escape;

    #[test]
    fn hostile_text_is_harmless() {
        assert_eq!(
            escape("<script>alert('x')</script> & \"y\"\u{0}\n"),
            "&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt; &amp; &quot;y&quot;\u{fffd} "
        );
    }
}
