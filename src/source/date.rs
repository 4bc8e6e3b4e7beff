//! Days of the calendar.

use super::Fault;
use serde::de::{Deserialize, Deserializer, Error};
use std::fmt;
use std::str::FromStr;

/// A day of the Gregorian calendar, written year first: 2026-11-20 (ISO 8601).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
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
        let Some(days) = days_in(year, month as u8) else { return Err(wrong(" (there are twelve months)")) };
        if day == 0 || day > days {
            return Err(wrong(&format!(" (that month has {days} days)")));
        }
        Ok(Self { year, month: month as u8, day: day as u8 })
    }
}

impl CalendarDate {
    /// The day so many days later; `None` beyond the year 9999.
    pub fn plus_days(self, days: u32) -> Option<Self> {
        let mut later = self;
        let mut left = days;
        loop {
            let to_next_month = u32::from(days_in(later.year, later.month)? - u16::from(later.day)) + 1;
            if left < to_next_month {
                return Some(Self { day: later.day + left as u8, ..later });
            }
            left -= to_next_month;
            later = Self { day: 1, ..later.plus_months(1)? };
        }
    }

    /// The same day so many months later, or the last of that month where it is shorter; `None` beyond the year 9999.
    pub fn plus_months(self, months: u32) -> Option<Self> {
        let count = u32::from(self.year) * 12 + u32::from(self.month) - 1 + months;
        let year = u16::try_from(count / 12).ok().filter(|y| *y <= 9999)?;
        let month = (count % 12) as u8 + 1;
        Some(Self { year, month, day: self.day.min(days_in(year, month)? as u8) })
    }

    /// The last month, written `2028-05`, that lies wholly before the day after this one.
    pub fn last_whole_month(self) -> String {
        let is_last = days_in(self.year, self.month).is_some_and(|days| u16::from(self.day) == days);
        let (year, month) = match (is_last, self.month) {
            (true, month) => (self.year, month),
            (false, 1) => (self.year.saturating_sub(1), 12),
            (false, month) => (self.year, month - 1),
        };
        format!("{year:04}-{month:02}")
    }
}

/// A day of a table; an empty cell is none.
impl<'de> Deserialize<'de> for CalendarDate {
    fn deserialize<D: Deserializer<'de>>(cell: D) -> Result<Self, D::Error> {
        String::deserialize(cell)?.parse().map_err(D::Error::custom)
    }
}

impl serde::Serialize for CalendarDate {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// Days of a month; `None` for a month that is none.
fn days_in(year: u16, month: u8) -> Option<u16> {
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => Some(31),
        4 | 6 | 9 | 11 => Some(30),
        2 => Some(28 + u16::from(leap)),
        _ => None,
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
    fn days_and_months_later() {
        let day = |text: &str| text.parse::<CalendarDate>().unwrap();
        // By hand; ISO 8601 week dates put 2026-11-30 and 2028-02-28 both on a Monday, 65 weeks apart.
        for (from, days, to) in [
            ("2026-11-30", 0, "2026-11-30"),
            ("2026-11-30", 455, "2028-02-28"),
            ("2028-02-28", 1, "2028-02-29"),
            ("2026-12-31", 1, "2027-01-01"),
            ("2026-11-30", 84, "2027-02-22"),
        ] {
            assert_eq!(day(from).plus_days(days), Some(day(to)), "{from} + {days}");
        }
        for (from, months, to, whole) in [
            ("2026-11-30", 24, "2028-11-30", "2028-11"),
            ("2026-11-10", 26, "2029-01-10", "2028-12"),
            ("2026-11-30", 3, "2027-02-28", "2027-02"),
        ] {
            let later = day(from).plus_months(months).unwrap();
            assert_eq!((later, later.last_whole_month().as_str()), (day(to), whole), "{from} + {months}");
        }
        assert_eq!((day("9999-12-31").plus_days(1), day("9999-12-31").plus_months(1)), (None, None));
    }

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
