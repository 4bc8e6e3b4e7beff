//! A grade as sheets and labels word it, from one line of text: sieves that it went through and stayed on, sizes in µm or mm,
//! percentiles, single figures, grits.
//!
//! | kind | such as |
//! |---|---|
//! | through one sieve, on another | `-60+100`, `60/100 mesh`, `through 60 on 100`, `tyler -65+100` |
//! | between two sizes | `50-150 um`, `0.3-0.7 mm` |
//! | percentiles | `D10 20 D50 45 D90 90`, `d50=0.045mm d90=0.09mm` |
//! | one figure | `-100 mesh`, `<45 um`, `D50 45 um`, `45±5 µm`, `325 mesh 99 % passing`, `D95 200` |
//! | a grit, a law | `F220`, `P180`, `d50=60 gsd=1.6` |
//!
//! `milled`, `sieved` or `classified` beside one figure says how wide the powder is taken to be.

use super::SizeError;
use super::figure::{Figure, FigureAt, Finer};
use super::spec::SizeSpec;
use super::standards::{Making, MeshSeries};

const FORMS: &str = "write a CSV table's name, or a grade like \"mesh -60+100\", \"-100 mesh\", \"50-150 um\", \"<45 um\", \"F220\", \
     \"P180\", \"d10=20 d50=45 d90=90\", \"D50 45 um\" or \"d50=60 gsd=1.6\"";

/// What a number is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Unit {
    Um,
    Mm,
    Mesh(MeshSeries),
}

/// What stands before a size.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Prefix {
    Nothing,
    Finer,
    Coarser,
    /// A percentile.
    At(f64),
    PlusMinus,
    /// The second of two.
    Then,
}

/// A piece of a grade.
#[derive(Debug, Clone, PartialEq)]
enum Token {
    Number(String),
    Unit(Unit),
    Prefix(Prefix),
    /// "min" and ">", "max" and "<": of the size or the share that they stand beside.
    AtLeast,
    AtMost,
    Percent,
    Making(Making),
    /// "of", "and", ":".
    Filler,
}

/// A size of a grade.
#[derive(Debug, Clone, PartialEq)]
struct Size {
    before: Prefix,
    number: String,
    unit: Option<Unit>,
}

impl SizeSpec {
    /// From a quoted grade, in one of the ways that sheets and labels word it: `mesh -60+100`, `-100 mesh`, `50-150 um`, `<45 um`,
    /// `F220`, `d10=20 d50=45 d90=90`, `D50 45 um`, `d50=60 gsd=1.6`.
    ///
    /// # Errors
    /// [`SizeError::Grade`] when the text is none of these, or can be read in two ways.
    pub fn parse(text: &str) -> Result<Self, SizeError> {
        let plain = normalised(text)?;
        if let Some(law) = Self::parse_law(&plain) {
            return law;
        }
        if let Some(grit) = grit(&plain) {
            return Ok(Self::Grit(grit));
        }
        let tokens = tokens(&plain, text)?;
        if is_percentile_behind(&tokens) {
            let why = "has a percentile behind its figure, and more than that: write it before, as in D50 220 um";
            return Err(SizeError::Grade(format!("\"{text}\" {why}")));
        }
        Grade::of(&tokens, text)?.spec()
    }
}

/// Whether a percentile stands behind the last number of a grade that says more than one size: what it is of cannot be told. "45 um (D90)"
/// is clear.
fn is_percentile_behind(tokens: &[Token]) -> bool {
    let is_number = |t: &Token| matches!(t, Token::Number(_));
    let last = tokens.iter().rposition(is_number).unwrap_or(tokens.len());
    let is_at = |t: &Token| matches!(t, Token::Prefix(Prefix::At(_)));
    let is_more = |t: &Token| matches!(t, Token::AtMost | Token::AtLeast | Token::Prefix(_)) && !is_at(t);
    tokens.iter().skip(last).any(is_at) && tokens.iter().any(is_more)
}

fn unclear(text: &str, why: impl std::fmt::Display) -> SizeError {
    SizeError::Grade(format!("\"{text}\" {why}; {FORMS}"))
}

/// Lower case, one way to write each sign, a point for the decimal comma.
fn normalised(text: &str) -> Result<String, SizeError> {
    let mut plain = text.trim().trim_end_matches('.').to_lowercase().replace("(r)", "");
    for (from, to) in [
        ("µ", "u"),
        ("μ", "u"),
        ("–", "-"),
        ("—", "-"),
        ("−", "-"),
        ("‐", "-"),
        ("≤", "<"),
        ("≥", ">"),
        ("<=", "<"),
        (">=", ">"),
        ("+/-", "±"),
        ("-/+", "±"),
        ("/+", "+"),
        ("/ +", "+"),
        ("№", "no."),
        ("\u{a0}", " "),
        ("\u{202f}", " "),
        (" =", "="),
        ("= ", "="),
    ] {
        plain = plain.replace(from, to);
    }
    let chars: Vec<char> = plain.chars().collect();
    let digit = |i: usize| chars.get(i).is_some_and(char::is_ascii_digit);
    // "1.200 um" may be a point of thousands; what has whole millimetres is not meant by it.
    let in_mm = plain.contains("mm");
    let mut out = String::with_capacity(plain.len());
    for (i, c) in chars.iter().enumerate() {
        let three = digit(i + 1) && digit(i + 2) && digit(i + 3) && !digit(i + 4);
        let stands_alone = i >= 1 && digit(i - 1) && (i < 2 || !(digit(i - 2) || chars[i - 2] == '.'));
        if *c == '.' && three && stands_alone && chars[i - 1] != '0' && !in_mm {
            let (lead, rest) = (chars[i - 1], chars[i + 1..i + 4].iter().collect::<String>());
            return Err(SizeError::Grade(format!(
                "\"{text}\": {lead}.{rest} may be {lead}{rest} or {lead}.{}; write one of them",
                match rest.trim_end_matches('0') {
                    "" => "0",
                    rest => rest,
                }
            )));
        }
        if *c != ',' || i == 0 || !digit(i - 1) || !digit(i + 1) {
            out.push(*c);
            continue;
        }
        let lead: String = chars[..i].iter().rev().take_while(|c| c.is_ascii_digit() || **c == '.').collect();
        if three && !lead.ends_with('0') && lead.len() <= 3 && !lead.contains('.') {
            let lead: String = lead.chars().rev().collect();
            let rest: String = chars[i + 1..i + 4].iter().collect();
            return Err(SizeError::Grade(format!(
                "\"{text}\": {lead},{rest} may be {lead}{rest} or {lead}.{rest}; write one of them, without a comma"
            )));
        }
        out.push('.');
    }
    Ok(out)
}

/// `F220`, `P 180`, `grit F60`.
fn grit(plain: &str) -> Option<String> {
    let grit = plain.replace("grit", "").replace(' ', "");
    let digits = grit.strip_prefix(['f', 'p'])?;
    (!digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit())).then(|| grit.to_uppercase())
}

/// The words that a grade may hold, longest first where one begins another.
const WORDS: [(&str, Token); 75] = [
    ("micrometers", Token::Unit(Unit::Um)),
    ("micrometres", Token::Unit(Unit::Um)),
    ("micrometer", Token::Unit(Unit::Um)),
    ("micrometre", Token::Unit(Unit::Um)),
    ("microns", Token::Unit(Unit::Um)),
    ("micron", Token::Unit(Unit::Um)),
    ("mikrometer", Token::Unit(Unit::Um)),
    ("mikron", Token::Unit(Unit::Um)),
    ("micras", Token::Unit(Unit::Um)),
    ("micra", Token::Unit(Unit::Um)),
    ("um", Token::Unit(Unit::Um)),
    ("millimeters", Token::Unit(Unit::Mm)),
    ("millimetres", Token::Unit(Unit::Mm)),
    ("millimeter", Token::Unit(Unit::Mm)),
    ("millimetre", Token::Unit(Unit::Mm)),
    ("mm", Token::Unit(Unit::Mm)),
    ("tyler", Token::Unit(Unit::Mesh(MeshSeries::Tyler))),
    ("meshes", Token::Unit(Unit::Mesh(MeshSeries::AstmE11))),
    ("mesh", Token::Unit(Unit::Mesh(MeshSeries::AstmE11))),
    ("#", Token::Unit(Unit::Mesh(MeshSeries::AstmE11))),
    ("at most", Token::AtMost),
    ("not more than", Token::AtMost),
    ("no more than", Token::AtMost),
    ("at least", Token::AtLeast),
    ("not less than", Token::AtLeast),
    ("no less than", Token::AtLeast),
    ("no.", Token::Unit(Unit::Mesh(MeshSeries::AstmE11))),
    ("no", Token::Unit(Unit::Mesh(MeshSeries::AstmE11))),
    ("nr.", Token::Unit(Unit::Mesh(MeshSeries::AstmE11))),
    ("through", Token::Prefix(Prefix::Finer)),
    ("thru", Token::Prefix(Prefix::Finer)),
    ("passing", Token::Prefix(Prefix::Finer)),
    ("passes", Token::Prefix(Prefix::Finer)),
    ("pass", Token::Prefix(Prefix::Finer)),
    ("finer", Token::Prefix(Prefix::Finer)),
    ("smaller", Token::Prefix(Prefix::Finer)),
    ("less", Token::Prefix(Prefix::Finer)),
    ("under", Token::Prefix(Prefix::Finer)),
    ("below", Token::Prefix(Prefix::Finer)),
    ("up to", Token::Prefix(Prefix::Finer)),
    ("<", Token::AtMost),
    ("retained", Token::Prefix(Prefix::Coarser)),
    ("coarser", Token::Prefix(Prefix::Coarser)),
    ("larger", Token::Prefix(Prefix::Coarser)),
    ("greater", Token::Prefix(Prefix::Coarser)),
    ("more", Token::Prefix(Prefix::Coarser)),
    ("above", Token::Prefix(Prefix::Coarser)),
    ("over", Token::Prefix(Prefix::Coarser)),
    ("on", Token::Prefix(Prefix::Coarser)),
    (">", Token::AtLeast),
    ("+", Token::Prefix(Prefix::Coarser)),
    ("median", Token::Prefix(Prefix::At(50.0))),
    ("average", Token::Prefix(Prefix::At(50.0))),
    ("mean", Token::Prefix(Prefix::At(50.0))),
    ("±", Token::Prefix(Prefix::PlusMinus)),
    ("to", Token::Prefix(Prefix::Then)),
    ("x", Token::Prefix(Prefix::Then)),
    ("/", Token::Prefix(Prefix::Then)),
    ("maximum", Token::AtMost),
    ("max.", Token::AtMost),
    ("max", Token::AtMost),
    ("minimum", Token::AtLeast),
    ("min.", Token::AtLeast),
    ("min", Token::AtLeast),
    ("%", Token::Percent),
    ("milled", Token::Making(Making::Milled)),
    ("ground", Token::Making(Making::Milled)),
    ("crushed", Token::Making(Making::Milled)),
    ("sieved", Token::Making(Making::Sieved)),
    ("screened", Token::Making(Making::Sieved)),
    ("air-classified", Token::Making(Making::Classified)),
    ("classified", Token::Making(Making::Classified)),
    ("micronised", Token::Making(Making::Classified)),
    ("micronized", Token::Making(Making::Classified)),
    ("-", Token::Prefix(Prefix::Then)),
];

/// Words without a meaning of their own.
const FILLERS: [&str; 21] = [
    "than", "between", "and", "of", "a", "the", "is", "size", "sizes", "particle", "grade", "us", "astm", "sieve",
    "at", "by", "vol", "volume", ":", "=", ",",
];

/// Cuts a grade into its pieces.
fn tokens(plain: &str, text: &str) -> Result<Vec<Token>, SizeError> {
    let mut tokens = Vec::new();
    let mut rest = plain.trim_start();
    while let Some(first) = rest.chars().next() {
        if let Some(mean) = mean(rest) {
            let why =
                format!("gives a mean, {mean}, which tells no share of the powder; ask for D50, with D10 and D90");
            return Err(SizeError::Grade(format!("\"{text}\" {why}")));
        }
        let (token, length) = match first {
            '0'..='9' | '.' if rest.starts_with(|c: char| c.is_ascii_digit()) || digit_follows(rest) => number(rest),
            // "x50" is a percentile, "20x40" is not.
            _ => percentile(rest).filter(|_| first == 'd' || !after_size(&tokens)).or_else(|| word(rest)).ok_or_else(
                || {
                    let end = rest.find([' ', ',', ';']).unwrap_or(rest.len());
                    unclear(
                        text,
                        format!("is neither a file nor a grade: \"{}\" says nothing here", &rest[..end.max(1)]),
                    )
                },
            )?,
        };
        if is_negative(plain, rest, &tokens) {
            let number: String = rest.chars().take_while(|c| !" ,;".contains(*c)).collect();
            return Err(SizeError::Grade(format!("\"{text}\": a size is above 0, and {number} is not")));
        }
        // A dash before the first size, or after another sign, lets through; between two sizes it is "to".
        let leads = !tokens.iter().any(|t| matches!(t, Token::Number(_)))
            || matches!(tokens.last(), Some(Token::Prefix(_) | Token::AtMost | Token::AtLeast | Token::Percent));
        let dash = rest.starts_with('-') && token == Token::Prefix(Prefix::Then);
        tokens.push(if dash && leads { Token::Prefix(Prefix::Finer) } else { token });
        rest = rest[length..].trim_start_matches([' ', ';', '(', ')', '[', ']']);
    }
    Ok(tokens)
}

/// Whether a minus that touches its number, and nothing before it, follows a percentile: in "D50 - 45" and "D50-45" it is a dash.
fn is_negative(plain: &str, rest: &str, tokens: &[Token]) -> bool {
    let touches =
        rest.strip_prefix('-').is_some_and(|number| number.starts_with(|c: char| c.is_ascii_digit() || c == '.'));
    let apart = plain[..plain.len() - rest.len()].ends_with([' ', '=', ':']);
    let named = tokens.iter().rev().find(|t| **t != Token::Filler);
    touches && apart && matches!(named, Some(Token::Prefix(Prefix::At(_))))
}

fn after_size(tokens: &[Token]) -> bool {
    matches!(tokens.last(), Some(Token::Number(_) | Token::Unit(_)))
}

fn digit_follows(rest: &str) -> bool {
    rest[1..].starts_with(|c: char| c.is_ascii_digit())
}

/// A number, or a sieve's number such as `3 1/2`.
fn number(rest: &str) -> (Token, usize) {
    let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
    let fraction = [" 1/2", " 1/4"].iter().find(|f| rest[end..].starts_with(**f));
    let end = end + fraction.map_or(0, |f| f.len());
    (Token::Number(rest[..end].trim_end_matches('.').to_owned()), end)
}

/// `d[4,3]`, `d4,3`, `d43` and the like: a mean diameter (ISO 9276-2), which is no percentile.
fn mean(rest: &str) -> Option<&'static str> {
    let after = rest.strip_prefix('d')?.trim_start_matches(['(', '[', ' ']);
    let end = after.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(after.len());
    match &after[..end] {
        "4.3" | "43" => Some("D[4,3]"),
        "3.2" | "32" => Some("D[3,2]"),
        "1.0" | "2.0" | "3.0" | "2.1" => Some("D[p,q]"),
        _ => None,
    }
}

/// `d50`, `dv50`, `d[50]`, `d(0.5)`, `x50`, `d50_um`.
fn percentile(rest: &str) -> Option<(Token, usize)> {
    let after = ["dv", "d", "x"].iter().find_map(|p| rest.strip_prefix(p))?;
    let after = after.trim_start_matches(['(', '[', ' ', ',', 'v']);
    let end = after.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(after.len());
    let value: f64 = after[..end].parse().ok()?;
    // "50,3" and "50,0" are of a distribution by volume and by number (ISO 9276-1); only that by volume is a share of the powder.
    let (whole, kind) = after[..end].split_once('.').unwrap_or((&after[..end], "3"));
    let value = match kind {
        "3" if whole.len() == 2 => whole.parse().ok()?,
        "0" | "1" | "2" if whole.len() == 2 => return None,
        _ => value,
    };
    // "0.5" is the share, "50" the percent.
    let percent = if after[..end].contains('.') && value < 1.0 { 100.0 * value } else { value };
    let after = after[end..].trim_start_matches([')', ']']);
    let after = after.strip_prefix("_um").unwrap_or(after);
    (percent > 0.0 && percent < 100.0).then(|| (Token::Prefix(Prefix::At(percent)), rest.len() - after.len()))
}

fn word(rest: &str) -> Option<(Token, usize)> {
    // A word ends where no letter goes on.
    let whole = |word: &str| {
        rest.strip_prefix(word).is_some_and(|after| {
            !word.ends_with(char::is_alphabetic) || !after.starts_with(|c: char| c.is_alphabetic() || c == '_')
        })
    };
    // "no smaller than" is no sieve's number.
    let is_number_next =
        |word: &str| rest[word.len()..].trim_start_matches([' ', '.']).starts_with(|c: char| c.is_ascii_digit());
    let known = WORDS.iter().filter(|(word, _)| whole(word));
    let known = known.into_iter().find(|(word, _)| *word != "no" || is_number_next(word));
    let filler = || FILLERS.iter().find(|word| whole(word)).map(|word| (Token::Filler, word.len()));
    known.map(|(word, token)| (token.clone(), word.len())).or_else(filler)
}

/// What a share in % is when it is not just that.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum ShareBound {
    Least,
    Most,
}

/// The piece that bounds the share in %: "min 10 %", "<5 %", "90 % min". "Less than 5 %" bounds it where another word tells the side: "on".
fn share_bound(tokens: &[Token]) -> Option<(usize, ShareBound)> {
    let percent = tokens.iter().position(|t| *t == Token::Percent)?;
    let is_said = |t: &Token| *t != Token::Filler;
    let side_follows = tokens[percent..].iter().any(|t| matches!(t, Token::Prefix(Prefix::Finer | Prefix::Coarser)));
    let of = |place: usize| match tokens[place] {
        Token::AtLeast => Some((place, ShareBound::Least)),
        Token::AtMost => Some((place, ShareBound::Most)),
        Token::Prefix(Prefix::Coarser) if place < percent && side_follows => Some((place, ShareBound::Least)),
        Token::Prefix(Prefix::Finer) if place < percent && side_follows => Some((place, ShareBound::Most)),
        _ => None,
    };
    let before = tokens[..percent.saturating_sub(1)].iter().rposition(is_said);
    // What a number follows is of that: "90 % < 75 um".
    let after = tokens[percent + 1..].iter().position(is_said).map(|i| percent + 1 + i);
    let after = after.filter(|place| !matches!(tokens.get(place + 1), Some(Token::Number(_))));
    let last = tokens.iter().rposition(is_said).filter(|_| side_follows);
    before.and_then(of).or_else(|| after.and_then(of)).or_else(|| last.and_then(of))
}

/// What the pieces say.
struct Grade<'t> {
    text: &'t str,
    sizes: Vec<Size>,
    percent: Option<f64>,
    /// Whether `percent` is the least or the most that it may be, if it is not just that.
    bound: Option<ShareBound>,
    /// A tolerance, % of the size before it.
    give_pct: Option<f64>,
    made: Option<Making>,
}

impl<'t> Grade<'t> {
    fn of(tokens: &[Token], text: &'t str) -> Result<Self, SizeError> {
        let mut grade = Self { text, sizes: Vec::new(), percent: None, bound: None, give_pct: None, made: None };
        let bound = share_bound(tokens);
        let (mut before, mut unit) = (Prefix::Nothing, None);
        for (i, token) in tokens.iter().enumerate() {
            let next = tokens.get(i + 1);
            let size_next = matches!(next, Some(Token::Number(_))) && tokens.get(i + 2) != Some(&Token::Percent);
            match token {
                Token::Number(number) if next == Some(&Token::Percent) && before == Prefix::PlusMinus => {
                    grade.give_pct = Some(parsed(number, text)?);
                    before = Prefix::Nothing;
                }
                Token::Number(number) if next == Some(&Token::Percent) => {
                    if grade.percent.replace(parsed(number, text)?).is_some() {
                        return Err(unclear(text, "has two shares in %"));
                    }
                    grade.bound = bound.map(|(_, bound)| bound);
                }
                _ if bound.is_some_and(|(place, _)| place == i) => {}
                Token::Number(number) => {
                    grade.sizes.push(Size { before, number: number.clone(), unit: unit.take() });
                    before = Prefix::Nothing;
                }
                Token::Unit(of) => match grade.sizes.last_mut().filter(|_| !(size_next && matches!(of, Unit::Mesh(_))))
                {
                    Some(size) if size.unit.is_none() => size.unit = Some(*of),
                    // "Tyler mesh": the series has been named.
                    Some(Size { unit: Some(Unit::Mesh(_)), .. }) if matches!(of, Unit::Mesh(_)) => {}
                    Some(size) if size.unit == Some(*of) => {}
                    Some(size) => {
                        let n = &size.number;
                        let why =
                            format!("has two units: {n} may be {n} mesh, or an opening of {n} um; write one of them");
                        return Err(SizeError::Grade(format!("\"{text}\" {why}")));
                    }
                    None => unit = unit.filter(|u| *u == Unit::Mesh(MeshSeries::Tyler)).or(Some(*of)),
                },
                Token::Prefix(said) => before = bounded(before, *said, text)?,
                Token::AtMost | Token::AtLeast => {
                    let said = if *token == Token::AtMost { Prefix::Finer } else { Prefix::Coarser };
                    let ahead = tokens[i + 1..].iter().any(|t| matches!(t, Token::Number(_)));
                    match grade.sizes.last_mut().filter(|_| !ahead) {
                        Some(last) => last.before = bounded(last.before, said, text)?,
                        None => before = bounded(before, said, text)?,
                    }
                }
                Token::Making(made) => grade.made = Some(*made),
                Token::Percent | Token::Filler => {}
            }
        }
        // "325 mesh 99 % passing": said after its size.
        if let Some(last) = grade.sizes.last_mut().filter(|last| last.before == Prefix::Nothing) {
            last.before = before;
        }
        grade.fill_units()?;
        Ok(grade)
    }

    /// A size without a unit has that of the next, or else of the one before; without any, signs and slashes are of meshes.
    fn fill_units(&mut self) -> Result<(), SizeError> {
        let units: Vec<Option<Unit>> = self.sizes.iter().map(|s| s.unit).collect();
        let percentile = self.sizes.iter().any(|s| matches!(s.before, Prefix::At(_)));
        let signed = self.text.contains('+') && self.sizes.len() > 1;
        let sieves = signed || self.text.contains('/') || self.text.to_lowercase().contains("through");
        for (i, size) in self.sizes.iter_mut().enumerate() {
            let near = units[i..].iter().flatten().next().or(units[..i].iter().flatten().next_back());
            size.unit = Some(match near {
                Some(unit) => *unit,
                None if percentile => Unit::Um,
                None if sieves && size.before != Prefix::PlusMinus => Unit::Mesh(MeshSeries::AstmE11),
                None => {
                    let number = &size.number;
                    let why = format!("has no unit: {number} may be {number} um or {number} mesh; write which");
                    return Err(SizeError::Grade(format!("\"{}\" {why}", self.text)));
                }
            });
        }
        Ok(())
    }

    fn spec(&self) -> Result<SizeSpec, SizeError> {
        if self.give_pct.is_some() && self.sizes.len() != 1 {
            return Err(unclear(self.text, "has a tolerance in % that is not of one size"));
        }
        if self.sizes.iter().any(|s| matches!(s.before, Prefix::At(_))) {
            return self.percentiles();
        }
        match self.sizes.as_slice() {
            [one] => self.figure(one, None),
            [one, give] if give.before == Prefix::PlusMinus => self.figure(one, Some(give)),
            [a, b] if self.percent.is_none() => match (a.before, b.before) {
                (Prefix::Coarser, Prefix::Finer | Prefix::Then) => self.range(b, a),
                (Prefix::Finer, Prefix::Coarser) | (Prefix::Nothing, Prefix::Then) => self.range(a, b),
                _ => Err(unclear(self.text, "has two sizes, and does not say that it lies between them")),
            },
            [] => Err(unclear(self.text, "is neither a file nor a grade: it has no size")),
            _ => Err(unclear(self.text, "has more sizes than can be told apart")),
        }
    }

    /// Between two sizes, or through one sieve and on another.
    fn range(&self, a: &Size, b: &Size) -> Result<SizeSpec, SizeError> {
        match (a.unit, b.unit) {
            (Some(Unit::Mesh(series)), Some(Unit::Mesh(other))) => {
                let tyler = [series, other].contains(&MeshSeries::Tyler);
                let series = if tyler { MeshSeries::Tyler } else { series };
                Ok(SizeSpec::Mesh { text: format!("-{}+{}", a.number, b.number), series })
            }
            (Some(Unit::Mesh(_)), _) | (_, Some(Unit::Mesh(_))) => {
                Err(unclear(self.text, "has a mesh and a size; write both as meshes or both in um"))
            }
            _ => {
                let (a_um, b_um) = (self.um(a)?, self.um(b)?);
                // "<150 >50 um" has the coarse bound first, as "-60+100" does.
                let signed = a.before != Prefix::Nothing && b.before != Prefix::Then;
                let (lower_um, upper_um) = if signed { (b_um, a_um) } else { (a_um, b_um) };
                Ok(SizeSpec::Range { lower_um, upper_um })
            }
        }
    }

    fn percentiles(&self) -> Result<SizeSpec, SizeError> {
        if let ([one], true) | ([one, Size { before: Prefix::PlusMinus, .. }], true) =
            (self.sizes.as_slice(), matches!(self.sizes[0].before, Prefix::At(_)))
        {
            return self.figure(one, self.sizes.get(1));
        }
        let point = |size: &Size| match size.before {
            Prefix::At(p) => Ok((format!("d{p}_um"), self.um(size)?)),
            _ => Err(unclear(self.text, format!("has percentiles, and {} that is none", size.number))),
        };
        SizeSpec::from_numbers(&self.sizes.iter().map(point).collect::<Result<Vec<_>, _>>()?)
    }

    fn figure(&self, one: &Size, give: Option<&Size>) -> Result<SizeSpec, SizeError> {
        let at = match one.unit {
            Some(Unit::Mesh(series)) => FigureAt::Mesh(one.number.clone(), series),
            _ => FigureAt::Um(self.um(one)?),
        };
        let mesh = matches!(at, FigureAt::Mesh(..));
        let finer = match (one.before, self.percent) {
            (Prefix::At(p), None) => Finer::Percent(p),
            (Prefix::At(_), Some(_)) => return Err(unclear(self.text, "has a percentile and a share in %")),
            (side, Some(pct)) => self.finer(side, pct)?,
            (Prefix::Coarser, None) => Finer::HardlyAny,
            (Prefix::Finer, None) => Finer::NearlyAll,
            (_, None) if mesh => Finer::NearlyAll,
            (_, None) => Finer::Percent(50.0),
        };
        if (give.is_some() || self.give_pct.is_some()) && mesh {
            return Err(unclear(self.text, "has a tolerance of a mesh; write it in um"));
        }
        let give_um = match (give, self.give_pct) {
            (Some(give), _) => Some(self.um(give)?),
            (None, Some(pct)) => Some(self.um(one)? * pct / 100.0),
            (None, None) => None,
        };
        Ok(SizeSpec::Figure(Figure { text: self.text.trim().to_owned(), at, finer, give_um, made: self.made }))
    }

    /// A share of the powder on one side of its figure. Of a bound the coarsest end is taken, and asked for where it has none.
    fn finer(&self, side: Prefix, pct: f64) -> Result<Finer, SizeError> {
        match (side, self.bound) {
            (Prefix::Nothing, _) if pct < 50.0 => {
                let why = format!("does not say whether {pct} % is finer or coarser; write \"through\" or \"on\"");
                Err(SizeError::Grade(format!("\"{}\" {why}", self.text)))
            }
            (Prefix::Coarser, Some(ShareBound::Least)) => Err(self.without_end(format!("at least {pct} % is coarser"))),
            (Prefix::Coarser, _) => Ok(Finer::Percent(100.0 - pct)),
            (_, Some(ShareBound::Most)) => Err(self.without_end(format!("at most {pct} % is finer"))),
            _ => Ok(Finer::Percent(pct)),
        }
    }

    fn without_end(&self, said: String) -> SizeError {
        let why = format!("says only that {said}; ask how coarse the powder is at most, and write \"D90 250 um\"");
        SizeError::Grade(format!("\"{}\" {why}", self.text))
    }

    fn um(&self, size: &Size) -> Result<f64, SizeError> {
        let factor = if size.unit == Some(Unit::Mm) { 1000.0 } else { 1.0 };
        Ok(factor * parsed(&size.number, self.text)?)
    }
}

/// What stands before a size when a sign or word is added. A percentile that is at most so large is taken as that, the coarsest that it
/// may be; of one that is at least so large nobody knows how much coarser it is.
fn bounded(before: Prefix, said: Prefix, text: &str) -> Result<Prefix, SizeError> {
    match (before, said) {
        (Prefix::At(p), Prefix::Finer) => Ok(Prefix::At(p)),
        (Prefix::At(p), Prefix::Coarser) => {
            let why = format!("says of D{p} only that it is no finer; ask how coarse it is, and write \"D{p} 100 um\"");
            Err(SizeError::Grade(format!("\"{text}\" {why}")))
        }
        _ => Ok(said),
    }
}

fn parsed(number: &str, text: &str) -> Result<f64, SizeError> {
    let value = number.parse::<f64>().ok().filter(|v| v.is_finite());
    value.ok_or_else(|| unclear(text, format!("has \"{number}\", which is no number")))
}
