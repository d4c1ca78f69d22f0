//! How wide letters are, so that what is written into a picture lies over nothing else.
//! It never knows the font that a browser takes: it measures by the widest that the style names.

/// The letters of a text, each as wide as in one font.
#[derive(Clone, Copy, Debug)]
pub struct Letters {
    /// In a picture's own units.
    size: u32,
    /// The width of a letter in thousandths of its size.
    width_of: fn(char) -> u32,
}

/// Words: DejaVu Sans, from the font; letters of one group as the widest of them.
pub const fn words(size: u32) -> Letters {
    Letters { size, width_of: of_words }
}

/// Words in bold: no group of letters is more than a fifth wider in DejaVu Sans Bold.
pub const fn bold(size: u32) -> Letters {
    Letters { size, width_of: |letter| of_words(letter) * 6 / 5 }
}

/// Codes, of which all letters are as wide: DejaVu Sans Mono, from the font.
pub const fn codes(size: u32) -> Letters {
    Letters { size, width_of: |_| 602 }
}

fn of_words(letter: char) -> u32 {
    match letter {
        'i' | 'í' | 'j' | 'l' | ' ' | '\u{a0}' | '.' | ',' | '·' => 318,
        'f' | 'r' | 't' | '-' | ':' | '/' | '(' | ')' => 411,
        'c' | 's' | 'z' | '?' | '°' => 550,
        'm' | 'w' | 'M' | 'W' => 989,
        'a'..='z' | 'á' | 'é' | 'ó' | 'ú' | 'ñ' | '0'..='9' => 636,
        'A'..='Z' => 787,
        _ => 1000,
    }
}

impl Letters {
    /// How wide a text is at most.
    pub fn width(self, text: &str) -> i64 {
        let thousandths: u32 = text.chars().map(self.width_of).sum();
        i64::from((thousandths * self.size).div_ceil(1000))
    }

    /// The text in lines that fit, broken at blanks; a word that is wider than the room is cut.
    pub fn lines(self, text: &str, room: i64) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            let longer = lines.last().map(|last| format!("{last} {word}"));
            match (lines.last_mut(), longer.filter(|longer| self.width(longer) <= room)) {
                (Some(last), Some(longer)) => *last = longer,
                _ => lines.push(self.cut(word, room)),
            }
        }
        lines
    }

    /// A text, or as much of it as fits with a mark that there is more.
    pub fn cut(self, text: &str, room: i64) -> String {
        if self.width(text) <= room {
            return text.to_owned();
        }
        let mut kept: Vec<char> = text.chars().collect();
        loop {
            kept.pop();
            let shown: String = kept.iter().copied().chain(['…']).collect();
            if kept.is_empty() || self.width(&shown) <= room {
                return shown;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_at_blanks_and_no_word_is_lost() {
        let lines = |text| words(13).lines(text, 124);
        assert_eq!(lines("▶ enviado"), ["▶ enviado"]);
        let long = lines("✗ salió antes de estar libre");
        assert_eq!(long.join(" "), "✗ salió antes de estar libre");
        assert!(
            long.len() == 2 && long.iter().all(|line| words(13).width(line) <= 124),
            "{long:?}"
        );
        assert!(lines("").is_empty());
    }

    #[test]
    fn what_is_too_long_is_cut_with_a_mark() {
        assert_eq!(codes(14).cut("26327-18", 124), "26327-18");
        assert_eq!(codes(14).cut("Hollis Meats and Provisions", 124), "Hollis Meats …");
        let word = &words(13).lines("wwwwwwwwwwwwwwwwwwww", 124)[0];
        assert!(word.ends_with('…') && words(13).width(word) <= 124, "{word}");
        assert!(bold(13).width("Packing line 1") > words(13).width("Packing line 1"));
    }
}
