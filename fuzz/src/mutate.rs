//! Inputs out of a corpus: bytes, numbers, words and lines of one of its files changed, by the number of the input alone.

use std::io;
use std::path::Path;

/// Numbers, words and marks that break what is not looked at twice.
const ODD: [&str; 40] = [
    "0",
    "-1",
    "1",
    "-0.0",
    "1e-320",
    "5e307",
    "1e400",
    "NaN",
    "inf",
    "-inf",
    "0x7f",
    "1_000",
    "1,5",
    "1.",
    ".5",
    "99999999999999999999",
    "18446744073709551616",
    "100.00000001",
    "\"",
    "'",
    "\"\"",
    "[[",
    "]]",
    "{",
    "}",
    "=",
    "#",
    ",",
    ";",
    "\t",
    "\r\n",
    "\n\n",
    "\u{feff}",
    "\u{fffe}",
    "\u{202e}",
    "µ",
    "é",
    "\u{0}",
    "true",
    "2026-02-30",
];

/// Bytes beyond this tell nothing more.
const LONGEST: usize = 1 << 16;

/// A stream of numbers (SplitMix64; Steele, Lea and Flood 2014).
pub struct Numbers(u64);

impl Numbers {
    /// The stream of an input of a target.
    pub fn of(target: &str, number: u64) -> Self {
        let name =
            target.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
        Self(name.wrapping_add(number.wrapping_mul(0x9e37_79b9_7f4a_7c15)))
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `end`; 0 where there is none.
    fn below(&mut self, end: usize) -> usize {
        if end == 0 { 0 } else { (self.next() % end as u64) as usize }
    }

    fn of_all<'a, T>(&mut self, all: &'a [T]) -> Option<&'a T> {
        all.get(self.below(all.len()))
    }
}

/// The inputs of a target that are kept.
pub struct Corpus {
    pub seeds: Vec<Vec<u8>>,
    /// Words of all of them.
    words: Vec<Vec<u8>>,
}

impl Corpus {
    /// The files of a target's own folder, and those of other folders by their ending.
    pub fn read(target: &str, folders: &[(&str, &str)]) -> io::Result<Self> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let own = format!("corpus/{target}");
        let mut seeds = Vec::new();
        for (folder, ending) in folders.iter().copied().chain([(own.as_str(), "")]) {
            let folder = root.join(folder);
            let Ok(entries) = std::fs::read_dir(&folder) else { continue };
            let mut files = entries.map(|e| Ok(e?.path())).collect::<io::Result<Vec<_>>>()?;
            files.retain(|file| file.is_file() && file.to_string_lossy().ends_with(ending));
            files.sort();
            for file in files {
                seeds.push(std::fs::read(file)?);
            }
        }
        let mut words: Vec<Vec<u8>> =
            seeds.iter().flat_map(|seed| seed.split(|b| !is_word(*b)).map(<[u8]>::to_vec)).collect();
        words.retain(|w| (2..40).contains(&w.len()));
        words.sort();
        words.dedup();
        words.extend(ODD.map(|odd| odd.as_bytes().to_vec()));
        Ok(Self { seeds, words })
    }

    /// One of them, changed in one to eight places.
    pub fn changed(&self, numbers: &mut Numbers) -> Vec<u8> {
        let mut input = numbers.of_all(&self.seeds).cloned().unwrap_or_default();
        for _ in 0..=numbers.below(8) {
            self.change(&mut input, numbers);
        }
        input.truncate(LONGEST);
        input
    }

    fn change(&self, input: &mut Vec<u8>, numbers: &mut Numbers) {
        let at = numbers.below(input.len() + 1);
        match numbers.below(9) {
            0 if at < input.len() => input[at] ^= 1 << numbers.below(8),
            1 => drop(input.splice(at..at, self.word(numbers))),
            2 => drop(input.splice(word_at(input, at), self.word(numbers))),
            // A word of a number is the likeliest to be read as something.
            3 | 4 => {
                let figures: Vec<usize> = (0..input.len()).filter(|i| input[*i].is_ascii_digit()).collect();
                let figure = numbers.of_all(&figures).copied().unwrap_or(at);
                let odd = numbers.of_all(&ODD).map_or("", |odd| odd);
                input.splice(word_at(input, figure), odd.bytes());
            }
            5 => drop(input.drain(at..(at + 1 + numbers.below(12)).min(input.len()).max(at))),
            6 => {
                let line = line_at(input, at);
                let text = input[line.clone()].to_vec();
                let to = line_at(input, numbers.below(input.len() + 1)).start;
                input.splice(to..to, text);
            }
            7 => drop(input.drain(line_at(input, at))),
            _ => {
                let other = numbers.of_all(&self.seeds).cloned().unwrap_or_default();
                let from = line_at(&other, numbers.below(other.len() + 1));
                let to = line_at(input, at).start;
                input.splice(to..to, other[from].to_vec());
            }
        }
    }

    fn word(&self, numbers: &mut Numbers) -> Vec<u8> {
        numbers.of_all(&self.words).cloned().unwrap_or_default()
    }
}

fn is_word(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || b"_-.+".contains(&byte) || byte >= 0x80
}

/// The word around a place.
fn word_at(input: &[u8], at: usize) -> std::ops::Range<usize> {
    let at = at.min(input.len());
    let start = input[..at].iter().rposition(|b| !is_word(*b)).map_or(0, |i| i + 1);
    let end = input[at..].iter().position(|b| !is_word(*b)).map_or(input.len(), |i| at + i);
    start..end
}

/// The line around a place, with its end.
fn line_at(input: &[u8], at: usize) -> std::ops::Range<usize> {
    let at = at.min(input.len());
    let start = input[..at].iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
    let end = input[at..].iter().position(|b| *b == b'\n').map_or(input.len(), |i| at + i + 1);
    start..end
}
