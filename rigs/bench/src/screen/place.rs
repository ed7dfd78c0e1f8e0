//! A place that a stop screw or the lever is to be set to by hand, drive off, and how far it still is.
//!
//! In: opening, degrees or millimetres from the closed stop; for screws also arm and pitch. Out: degrees and turns to go.

use std::str::FromStr;

use crate::exit::Failure;

/// Longest arm and largest distance, mm.
const MOST_MM: f64 = 500.0;
/// Coarsest thread, mm a turn.
const MOST_PITCH_MM: f64 = 6.0;

/// A place as it is typed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum PlaceWord {
    /// Share of the travel, from 0 closed.
    Opening(f64),
    /// Degrees of the lever from the closed stop.
    Degrees(f64),
    /// Millimetres at the end of the arm from the closed stop.
    Millimetres(f64),
}

impl FromStr for PlaceWord {
    type Err = String;

    fn from_str(word: &str) -> Result<Self, String> {
        let refused = || {
            "allowed: an opening from 0 to 1 such as 0.42, degrees such as 12.5deg, or millimetres such as \
             3.2mm, each from the closed stop"
                .to_owned()
        };
        let number = |text: &str| text.trim().parse::<f64>().ok().filter(|number| number.is_finite());
        let place = if let Some(text) = word.strip_suffix("deg") {
            number(text).filter(|deg| (0.0..=180.0).contains(deg)).map(Self::Degrees)
        } else if let Some(text) = word.strip_suffix("mm") {
            number(text).filter(|mm| (0.0..=MOST_MM).contains(mm)).map(Self::Millimetres)
        } else {
            number(word).filter(|opening| (0.0..=1.0).contains(opening)).map(Self::Opening)
        };
        place.ok_or_else(refused)
    }
}

/// The options.
#[derive(Debug, Clone, Copy, clap::Args)]
pub(crate) struct PlaceArgs {
    /// Show how far the lever or a stop screw still has to go to this place: an opening (0.42), degrees (12.5deg) or
    /// millimetres at the arm (3.2mm), each from the closed stop
    #[arg(long, value_name = "PLACE", allow_negative_numbers = true)]
    target: Option<PlaceWord>,
    /// Length of the arm that the screw or the rod acts on, mm; needed for millimetres and turns
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    arm: Option<f64>,
    /// Pitch of the screw, mm a turn (ISO 261 coarse: M5 0.8, M6 1, M8 1.25); shows turns
    #[arg(long, value_name = "MM", requires = "arm", allow_negative_numbers = true)]
    pitch: Option<f64>,
}

/// A place on the unit's own travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct WantedPlace {
    opening: f64,
    travel_deg: f64,
    ends: [f32; 2],
    arm_mm: Option<f64>,
    pitch_mm: Option<f64>,
}

impl PlaceArgs {
    /// The place on a travel of so many degrees between these readings.
    ///
    /// # Errors
    /// When arm or pitch cannot be, or millimetres come without an arm.
    pub(crate) fn read(&self, travel_deg: f64, ends: [f32; 2]) -> Result<Option<WantedPlace>, Failure> {
        let within = |name: &str, value: Option<f64>, most: f64| match value {
            Some(mm) if !(mm > 0.0 && mm <= most) => {
                Err(Failure::usage(format!("--{name}: {mm}; allowed: over 0 to {most} mm")))
            }
            Some(_) | None => Ok(()),
        };
        within("arm", self.arm, MOST_MM)?;
        within("pitch", self.pitch, MOST_PITCH_MM)?;
        let opening = match (self.target, self.arm) {
            (None, _) => return Ok(None),
            (Some(PlaceWord::Opening(opening)), _) => opening,
            (Some(PlaceWord::Degrees(degrees)), _) => degrees / travel_deg,
            (Some(PlaceWord::Millimetres(mm)), Some(arm)) => (mm / arm).to_degrees() / travel_deg,
            (Some(PlaceWord::Millimetres(_)), None) => {
                return Err(Failure::usage(
                    "--target in mm needs --arm MM, the length that the screw or rod acts on",
                ));
            }
        };
        Ok(Some(WantedPlace { opening, travel_deg, ends, arm_mm: self.arm, pitch_mm: self.pitch }))
    }
}

impl WantedPlace {
    /// Degrees from a reading to the place; positive opens.
    pub(crate) fn degrees_to_go(self, counts: f32) -> f64 {
        let [closed, open] = self.ends.map(f64::from);
        let here = (f64::from(counts) - closed) / (open - closed);
        (self.opening - here) * self.travel_deg
    }

    /// The same in words, with millimetres and turns where they are known.
    pub(crate) fn to_go(self, counts: f32) -> String {
        let degrees = self.degrees_to_go(counts);
        let way = if degrees >= 0.0 { "open" } else { "closed" };
        let mm = self.arm_mm.map(|arm| arm * degrees.abs().to_radians());
        let mut words = format!("{:.2}° toward {way}", degrees.abs());
        if let Some(mm) = mm {
            words.push_str(&format!(", {mm:.2} mm"));
        }
        if let (Some(mm), Some(pitch)) = (mm, self.pitch_mm) {
            words.push_str(&format!(", {:.2} turns", mm / pitch));
        }
        words
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 70° of travel from 13 300 counts down to 2600; arm 30 mm, M6: worked by hand.
    #[test]
    fn degrees_millimetres_and_turns_to_go_are_those_of_the_worked_example() {
        let place = |target: &str| {
            let args = PlaceArgs { target: Some(target.parse().unwrap()), arm: Some(30.0), pitch: Some(1.0) };
            args.read(70.0, [13_300.0, 2600.0]).unwrap().unwrap()
        };
        // Half way there from closed: 35°, an arc of 30 mm × 0.6109 = 18.33 mm.
        assert_eq!(place("0.5").to_go(13_300.0), "35.00° toward open, 18.33 mm, 18.33 turns");
        assert_eq!(place("35deg").to_go(2600.0), "35.00° toward closed, 18.33 mm, 18.33 turns");
        assert_eq!(place("18.326mm").to_go(7950.0), "0.00° toward open, 0.00 mm, 0.00 turns");
    }

    #[test]
    fn a_place_that_cannot_be_is_refused_with_what_can() {
        for word in ["", "1.5", "-1deg", "200deg", "mm", "nan", "infmm", "3 inch"] {
            assert!(word.parse::<PlaceWord>().unwrap_err().contains("12.5deg"), "{word}");
        }
        let args = PlaceArgs { target: Some(PlaceWord::Millimetres(3.0)), arm: None, pitch: None };
        assert!(args.read(70.0, [0.0, 1.0]).unwrap_err().message.contains("--arm"));
    }
}
