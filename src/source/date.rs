//! Days of the calendar.

use super::Fault;
use std::fmt;
use std::str::FromStr;

/// A day of the Gregorian calendar, written year first: 2026-11-20 (ISO 8601).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Deserialize)]
#[serde(try_from = "String")]
pub struct CalendarDate {
    year: u16,
    month: u8,
    day: u8,
}

impl FromStr for CalendarDate {
    type Err = Fault;

    fn from_str(text: &str) -> Result<Self, Fault> {
        let form = "write it as year-month-day, such as 2026-11-20";
        let wrong = |why: &str| Fault::new(format!("\"{text}\" is no date{why}"), form);
        let parts: Vec<&str> = text.split('-').collect();
        let [year, month, day] = parts[..] else { return Err(wrong("")) };
        let (Some(year), Some(month), Some(day)) = (digits(year, 4), digits(month, 2), digits(day, 2)) else {
            return Err(wrong(""));
        };
        let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
        let days = match month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 => 28 + u16::from(leap),
            _ => return Err(wrong(" (there are twelve months)")),
        };
        if day == 0 || day > days {
            return Err(wrong(&format!(" (that month has {days} days)")));
        }
        Ok(Self { year, month: month as u8, day: day as u8 })
    }
}

impl TryFrom<String> for CalendarDate {
    type Error = Fault;

    fn try_from(text: String) -> Result<Self, Fault> {
        text.parse()
    }
}

/// A number of exactly so many digits.
fn digits(part: &str, count: usize) -> Option<u16> {
    let fits = part.len() == count && part.bytes().all(|b| b.is_ascii_digit());
    part.parse().ok().filter(|_| fits)
}

impl fmt::Display for CalendarDate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_of_the_calendar() {
        for good in ["2026-11-20", "2024-02-29", "2000-02-29", "0001-01-01"] {
            assert_eq!(good.parse::<CalendarDate>().unwrap().to_string(), good);
        }
        // 1900 and 2100 are no leap years.
        for bad in ["2026-02-29", "2100-02-29", "2026-13-01", "2026-11-31", "2026-1-20", "20/11/2026", "", "2026-11-00"]
        {
            assert!(bad.parse::<CalendarDate>().is_err(), "{bad}");
        }
    }
}
