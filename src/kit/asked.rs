//! What a kit asked for, read back from its page: what comes back is held against it.

use serde::Deserialize;

use super::settings::{KitError, Method, SCHEMA};
use crate::coins::DriverClass;

/// Where the settings stand in the page.
const OPEN: &str = "<script type=\"application/json\" id=\"kit\">";
const CLOSE: &str = "</script>";

/// What of a kit matters for its answers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asked {
    /// The kit's id, which every answer names.
    pub id: String,
    /// How the moving mass is to be found.
    pub method: Method,
    /// The drivers' kinds, in the kit's order.
    pub classes: Vec<DriverClass>,
}

#[derive(Deserialize)]
struct Settings {
    schema: String,
    id: String,
    method: String,
    drivers: Vec<Driver>,
}

#[derive(Deserialize)]
struct Driver {
    class: String,
}

impl Asked {
    /// From the text of a page that [`Kit::page`](super::Kit::page) made.
    ///
    /// # Errors
    /// [`KitError::NoKit`], [`KitError::Settings`] and [`KitError::Schema`].
    pub fn of_page(page: &str) -> Result<Self, KitError> {
        let text = page
            .split_once(OPEN)
            .and_then(|(_, behind)| behind.split_once(CLOSE))
            .map(|(settings, _)| settings)
            .ok_or(KitError::NoKit)?;
        let settings: Settings =
            serde_json::from_str(text).map_err(|error| KitError::Settings(error.to_string()))?;
        if settings.schema != SCHEMA {
            return Err(KitError::Schema(settings.schema));
        }
        let unknown =
            |what: &str, name: &str| KitError::Settings(format!("no {what} is \"{name}\""));
        let class = |driver: &Driver| {
            DriverClass::parse(&driver.class)
                .ok_or_else(|| unknown("kind of driver", &driver.class))
        };
        Ok(Self {
            method: Method::parse(&settings.method)
                .ok_or_else(|| unknown("method", &settings.method))?,
            classes: settings
                .drivers
                .iter()
                .map(class)
                .collect::<Result<_, _>>()?,
            id: settings.id,
        })
    }

    /// The kind of one of its drivers, counted from 0; `None` if the kit has no such driver.
    pub fn class(&self, driver: u64) -> Option<DriverClass> {
        self.classes.get(usize::try_from(driver).ok()?).copied()
    }

    /// Whether one of its drivers, counted from 0, is to be measured that way; `None` if the kit has no such driver. Nothing can be put on a
    /// tweeter's dome, and its box is closed already.
    pub fn asks(&self, driver: u64, method: Method) -> Option<bool> {
        let loads = self.class(driver)? != DriverClass::Tweeter;
        Some(loads && (self.method == method || self.method == Method::Both))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kit::{Kit, KitDriver};
    use crate::quantity::Stated;

    fn kit() -> Kit {
        let driver = |label: &str, class| KitDriver {
            label: label.to_owned(),
            class,
            nominal_ohm: None,
        };
        Kit {
            drivers: vec![
                driver("a </script> b", DriverClass::Small),
                driver("c", DriverClass::Tweeter),
            ],
            method: Method::AddedMass,
            sense_ohm: Stated::unstated(47.0),
            note: None,
            test_box: None,
            made: "then".to_owned(),
        }
    }

    #[test]
    fn a_page_says_what_its_kit_asked_for() {
        let kit = kit();
        let asked = Asked::of_page(&kit.page().unwrap()).unwrap();
        assert_eq!(asked.id, kit.id());
        assert_eq!(asked.method, kit.method);
        assert_eq!(asked.classes, [DriverClass::Small, DriverClass::Tweeter]);
        assert_eq!(asked.asks(0, Method::AddedMass), Some(true));
        assert_eq!(asked.asks(0, Method::TestBox), Some(false));
        assert_eq!(asked.asks(1, Method::AddedMass), Some(false));
        assert_eq!(asked.asks(2, Method::AddedMass), None);
        assert_eq!(asked.class(u64::MAX), None);
    }

    #[test]
    fn what_is_no_kit_is_refused_by_its_own_reason() {
        let page = |settings: &str| format!("<html>{OPEN}{settings}{CLOSE}</html>");
        let with = |schema: &str, method: &str, class: &str| {
            page(&format!(
                r#"{{"schema":"{schema}","id":"K-1","method":"{method}","drivers":[{{"class":"{class}"}}]}}"#
            ))
        };
        assert!(Asked::of_page(&with(SCHEMA, "both", "woofer")).is_ok());
        assert_eq!(Asked::of_page("<html></html>"), Err(KitError::NoKit));
        let other = "farcone-kit/9";
        assert_eq!(
            Asked::of_page(&with(other, "both", "woofer")),
            Err(KitError::Schema(other.to_owned()))
        );
        for settings in [
            page("{}"),
            with(SCHEMA, "guess", "woofer"),
            with(SCHEMA, "both", "horn"),
        ] {
            let refused = Asked::of_page(&settings).unwrap_err();
            assert!(matches!(refused, KitError::Settings(_)), "{refused}");
        }
    }
}
