//! How wide letters are, so that what is written into a box stays in it.
//! It never knows the font that a browser takes: it measures by the widest that the style names.

/// The size of the letters in a box, in the picture's own units.
const SIZE: u32 = 13;
/// The size of its first line, a code in letters that are all as wide.
const CODE_SIZE: u32 = 14;
/// The width of a letter of a code in thousandths of its size: DejaVu Sans Mono, from the font.
const OF_CODE: u32 = 602;

/// The width of a letter in thousandths of its size: DejaVu Sans, from the font; those of one group
/// as the widest of them.
fn width_of(letter: char) -> u32 {
    match letter {
        'i' | 'í' | 'j' | 'l' | ' ' | '\u{a0}' | '.' | ',' => 318,
        'f' | 'r' | 't' | '-' => 411,
        'c' | 's' | 'z' | '?' => 550,
        'm' | 'w' => 974,
        'a'..='z' | 'á' | 'é' | 'ó' | 'ú' | 'ñ' | '0'..='9' => 636,
        _ => 1000,
    }
}

/// Whether a line of this text goes into so much room.
pub fn fits(text: &str, room: i64) -> bool {
    let thousandths: u32 = text.chars().map(width_of).sum();
    i64::from(thousandths * SIZE) <= room * 1000
}

/// The text in lines that fit, broken at blanks; a word that is wider than the room is cut.
pub fn lines(text: &str, room: i64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let longer = lines.last().map(|last| format!("{last} {word}"));
        match (lines.last_mut(), longer.filter(|longer| fits(longer, room))) {
            (Some(last), Some(longer)) => *last = longer,
            _ => lines.push(cut(word, |text| fits(text, room))),
        }
    }
    lines
}

/// A code as far as it fits.
pub fn code(text: &str, room: i64) -> String {
    let width = |text: &str| i64::from(text.chars().count() as u32 * OF_CODE * CODE_SIZE);
    cut(text, |text| width(text) <= room * 1000)
}

/// A text, or as much of it as fits with a mark that there is more.
fn cut(text: &str, fits: impl Fn(&str) -> bool) -> String {
    if fits(text) {
        return text.to_owned();
    }
    let mut kept: Vec<char> = text.chars().collect();
    loop {
        kept.pop();
        let shown: String = kept.iter().copied().chain(['…']).collect();
        if kept.is_empty() || fits(&shown) {
            return shown;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_at_blanks_and_no_word_is_lost() {
        assert_eq!(lines("▶ enviado", 124), ["▶ enviado"]);
        let long = lines("✗ salió antes de estar libre", 124);
        assert_eq!(long.join(" "), "✗ salió antes de estar libre");
        assert!(long.len() == 2 && long.iter().all(|line| fits(line, 124)), "{long:?}");
        assert!(lines("", 124).is_empty());
    }

    #[test]
    fn what_is_too_long_is_cut_with_a_mark() {
        assert_eq!(code("26327-18", 124), "26327-18");
        assert_eq!(code("Hollis Meats and Provisions", 124), "Hollis Meats …");
        let word = &lines("wwwwwwwwwwwwwwwwwwww", 124)[0];
        assert!(word.ends_with('…') && fits(word, 124), "{word}");
    }
}
