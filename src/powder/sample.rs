//! What a sample of measured or counted grains says of a powder's roundness, and how many grains would say it well enough.

use crate::numerics::shuffle::SplitMix;
use crate::source::{Fault, did_you_mean, folded};
use crate::tables::RoundnessRow;

/// Resamples of a bootstrap.
const RESAMPLES: usize = 2000;
/// The same sample gives the same interval.
const SEED: u64 = 0x0067_7261_696e_7321;
/// A figure is wanted to within this share.
const WANTED: f64 = 0.10;
/// Two-sided 95 % of a normal law.
const NORMAL_95: f64 = 1.96;

/// Median roundness of a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MedianRoundness {
    /// The median.
    pub median: f64,
    /// 5 % of the resampled medians lie below.
    pub low: f64,
    /// 5 % of them lie above.
    pub high: f64,
    /// Grains that give it.
    pub used: usize,
    /// Grains that would give it to within 10 %, as the interval narrows with the root of their number.
    pub wanted: usize,
}

/// Grains of which the median has an interval of 90 %: all of n lie on one side of it with the probability 2 × 0.5ⁿ (David and Nagaraja,
/// Order Statistics).
pub const LEAST_FOR_INTERVAL: usize = 5;

/// The median of roundnesses, with the 5 % and 95 % points of medians of resamples (percentile bootstrap, Efron 1979); none of
/// no grain. Of too few for an interval it may be anything within the `classes`.
pub fn median_roundness(roundness: &[f64], classes: &[RoundnessRow]) -> Option<MedianRoundness> {
    let used = roundness.len();
    let median = median(roundness.to_vec())?;
    let mut random = SplitMix::new(SEED);
    let mut medians: Vec<f64> = (0..RESAMPLES)
        .filter_map(|_| self::median((0..used).map(|_| roundness[random.below(used)]).collect()))
        .collect();
    medians.sort_by(f64::total_cmp);
    let [low, high] = match (classes.first(), classes.last()) {
        (Some(first), Some(last)) if used < LEAST_FOR_INTERVAL => [first.low, last.high],
        _ => [medians[RESAMPLES / 20], medians[RESAMPLES - 1 - RESAMPLES / 20]],
    };
    let (low, high) = (low.min(median), high.max(median));
    let off = 0.5 * (high - low) / (WANTED * median.max(f64::MIN_POSITIVE));
    let wanted = (used as f64 * off * off).ceil().min(1e9) as usize;
    Some(MedianRoundness { median, low, high, used, wanted: wanted.max(LEAST_GRAINS) })
}

/// No interval of fewer grains is trusted, however alike they are (convention).
const LEAST_GRAINS: usize = 30;

/// The median of a sample, the mean of both middle ones where there are two; none of nothing.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    (n > 0).then(|| 0.5 * (values[(n - 1) / 2] + values[n / 2]))
}

/// Grains to count for a median size by mass within 10 % at 95 %, for a log-normal law of this geometric standard deviation:
/// `n = u² σ² (2 c² σ² + 1) / δ²`, σ = ln gsd, c = 3.5 (Masuda and Iinoya 1971, as ISO 13322-1 annex A has it; from memory).
pub fn grains_for_size(gsd: f64) -> Option<usize> {
    let square = gsd.ln().powi(2);
    let count = (NORMAL_95 / WANTED).powi(2) * square * (2.0 * 3.5 * 3.5 * square + 1.0);
    (count.is_finite() && count < 1e9).then(|| (count.ceil() as usize).max(LEAST_GRAINS))
}

/// How many grains fall into each Powers class; the last class holds its upper end, and what is below the first is in it.
pub fn by_class<'a>(roundness: &[f64], classes: &'a [RoundnessRow]) -> Vec<(&'a RoundnessRow, usize)> {
    let class_of = |r: f64| classes.iter().rposition(|c| r >= c.low).unwrap_or(0);
    let mut counts = vec![0; classes.len()];
    for r in roundness.iter().filter(|_| !classes.is_empty()) {
        counts[class_of(*r)] += 1;
    }
    classes.iter().zip(counts).collect()
}

/// Roundnesses of grains that were counted by eye, such as `angular 20, subangular 18`: within a class they are spread evenly between its
/// bounds on a logarithmic scale, as the classes are.
///
/// # Errors
/// What is wrong with the words, and the nearest class.
pub fn tallied(text: &str, classes: &[RoundnessRow]) -> Result<Vec<f64>, Fault> {
    let mut all = Vec::new();
    let mut seen: Vec<&str> = Vec::new();
    for entry in text.split([',', ';']).map(str::trim).filter(|e| !e.is_empty()) {
        let form = "write \"angular 20, subangular 18\"";
        let (name, count) =
            entry.rsplit_once(char::is_whitespace).ok_or_else(|| format!("\"{entry}\" has no number; {form}"))?;
        let count: usize = count.parse().map_err(|_| format!("\"{count}\" is no number of grains; {form}"))?;
        let wanted = folded(name.trim());
        let hint = || did_you_mean(&wanted, classes.iter().map(|c| c.class.as_str()));
        let row = classes
            .iter()
            .find(|c| c.class == wanted)
            .ok_or_else(|| format!("there is no class \"{name}\"; {}", hint()))?;
        if seen.contains(&row.class.as_str()) {
            return Err(format!("\"{}\" is counted twice", row.class).into());
        }
        if count > 100_000 {
            return Err(format!("{count} grains of one class are more than anyone counts").into());
        }
        seen.push(&row.class);
        let place = |k: usize| row.low * (row.high / row.low).powf((k as f64 + 0.5) / count as f64);
        all.extend((0..count).map(place));
    }
    if all.is_empty() { Err("no grain is counted; write \"angular 20, subangular 18\"".into()) } else { Ok(all) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::Tables;

    #[test]
    fn a_tally_gives_back_its_counts() {
        let tables = Tables::built_in().unwrap();
        let roundness = tallied("very angular 3, Angular 20, subangular 18", &tables.roundness).unwrap();
        let counts: Vec<usize> = by_class(&roundness, &tables.roundness).iter().map(|(_, n)| *n).collect();
        assert_eq!(counts, [3, 20, 18, 0, 0, 0]);
        let told = median_roundness(&roundness, &tables.roundness).unwrap();
        // 41 grains: the 21st is the 18th of 20 angular ones.
        assert!((told.median - 0.17 * (0.25_f64 / 0.17).powf(17.5 / 20.0)).abs() < 1e-12);
        assert!(told.low < told.median && told.median < told.high);
        for (text, wrong) in [
            ("angular", "no number"),
            ("angulr 3", "angular"),
            ("angular 3, angular 4", "twice"),
            (" , ", "no grain"),
            ("angular -3", "no number of grains"),
        ] {
            let fault = tallied(text, &tables.roundness).unwrap_err();
            assert!(format!("{fault:?}").contains(wrong), "{text}: {fault:?}");
        }
    }

    #[test]
    fn the_interval_of_a_median_is_that_of_order_statistics() {
        // Of 99 evenly spread values the median's standard deviation is 0.5/√n of the spread (David and Nagaraja,
        // Order Statistics): 90 % lie within 1.645 × 0.05.
        let even: Vec<f64> = (1..100).map(|i| f64::from(i) / 100.0).collect();
        let classes = &Tables::built_in().unwrap().roundness;
        let told = median_roundness(&even, classes).unwrap();
        assert!((told.median - 0.5).abs() < 1e-12);
        assert!((told.low - 0.4175).abs() < 0.02 && (told.high - 0.5825).abs() < 0.02, "{told:?}");
        assert_eq!(median_roundness(&[], classes), None);
        // Of four grains all lie on one side of the median once in eight samples, of five once in sixteen.
        let few = |count: usize| median_roundness(&[0.3, 0.31, 0.32, 0.33, 0.34][..count], classes).unwrap();
        for count in 1..LEAST_FOR_INTERVAL {
            assert_eq!((few(count).low, few(count).high), (0.12, 1.0), "{count}");
        }
        assert!(few(5).low >= 0.3 && few(5).high <= 0.34);
    }

    #[test]
    fn narrow_powders_need_few_grains() {
        assert_eq!(grains_for_size(1.0), Some(30));
        // 1.96² × 0.2209 × (24.5 × 0.2209 + 1) / 0.01
        assert_eq!(grains_for_size(1.6), Some(545));
    }
}
