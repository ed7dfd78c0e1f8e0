//! What only a person can say of an actuator, asked once each.

use clap::ValueEnum;
use firmware_core::settings::CountsDirection;

use crate::actuator::BuiltInActuator;
use crate::caution;
use crate::exit::Failure;

/// What the vanes did under a nudge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum VanesDid {
    /// They opened
    Opened,
    /// They closed
    Closed,
    /// Nothing was seen
    Nothing,
}

/// Yes or no.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum YesNo {
    /// Yes
    Yes,
    /// No
    No,
}

/// Answers given as options; what is missing is asked at the terminal.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct AnswerArgs {
    /// Lever travel between its stops, degrees, 5 to 180
    #[arg(long, value_name = "DEG", value_parser = range::<5, 180>)]
    pub degrees: Option<f64>,
    /// Rated supply, V, 6 to 32
    #[arg(long, value_name = "V", value_parser = range::<6, 32>)]
    pub rated_voltage: Option<f64>,
    /// Continuous current of the motor, A, up to 10
    #[arg(long, value_name = "A", value_parser = range::<0, 10>)]
    pub continuous_current: Option<f64>,
    /// The lever turns when pushed by hand without power
    #[arg(long, value_enum, value_name = "ANSWER")]
    pub back_drives: Option<YesNo>,
    /// Both ends of the travel are metal on metal
    #[arg(long, value_enum, value_name = "ANSWER")]
    pub both_ends_metal: Option<YesNo>,
    /// What the vanes did at the first nudge, if already known
    #[arg(long, value_enum, value_name = "ANSWER")]
    pub first_nudge: Option<VanesDid>,
    /// What they did at the second nudge, the other way
    #[arg(long, value_enum, value_name = "ANSWER")]
    pub second_nudge: Option<VanesDid>,
}

fn range<const LOW: u32, const HIGH: u32>(word: &str) -> Result<f64, String> {
    let number = word.parse::<f64>().ok().filter(|number| *number > 0.0);
    let within = number.filter(|number| (f64::from(LOW)..=f64::from(HIGH)).contains(number));
    within.ok_or_else(|| format!("allowed: above {LOW}, up to {HIGH}"))
}

/// What is known before anything moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Answers {
    /// Lever travel, degrees.
    pub degrees: f64,
    /// Rated supply, V.
    pub rated_voltage: f64,
    /// Continuous current, A.
    pub continuous_current: f64,
    /// Whether the lever turns by hand without power; no spring and no: the gear locks itself.
    pub back_drives: bool,
}

/// Who says what the vanes did.
#[derive(Debug, Clone, Copy)]
pub enum Eyes<'a> {
    /// A person at the terminal, or their answers given as options.
    Person(&'a AnswerArgs),
    /// A virtual unit, unless an option answers for it: this way its counts run when the vanes open.
    Virtual(&'a AnswerArgs, CountsDirection),
}

impl AnswerArgs {
    /// Takes the options, the virtual unit's own answers, or asks.
    ///
    /// # Errors
    /// Without a terminal, on an answer that means nothing, or where both ends are not metal.
    pub(crate) fn complete(&self, of: Option<&BuiltInActuator>) -> Result<Answers, Failure> {
        let own = of.map(|actuator| actuator.profile().map_err(Failure::usage)).transpose()?;
        let actuator = own.as_ref().map(|own| &own.settings.actuator);
        let number = |given: Option<f64>, own: Option<f64>, question: &str, option: &str, most: f64| {
            given.or(own).map_or_else(|| ask_number(question, option, most), Ok)
        };
        let degrees = number(
            self.degrees,
            own.as_ref().map(|own| own.travel_deg),
            "Lever travel between its stops, degrees: ",
            "--degrees",
            180.0,
        )?;
        let volts = actuator.map(|one| f64::from(one.nominal_supply.0));
        let rated_voltage = number(self.rated_voltage, volts, "Rated supply, V: ", "--rated-voltage", 32.0)?;
        let amps = own.as_ref().map(|own| f64::from(own.settings.limits.continuous_current.0));
        let continuous_current = number(
            self.continuous_current,
            amps,
            "Continuous current of the motor, A: ",
            "--continuous-current",
            10.0,
        )?;
        let yes = of.map(|_| YesNo::Yes);
        let ask = |given: Option<YesNo>, question, option| {
            given.or(yes).map_or_else(|| ask_yes(question, option), Ok)
        };
        let back_drives = ask(
            self.back_drives,
            "Does the lever turn when pushed by hand without power? ",
            "--back-drives",
        )?;
        let metal =
            ask(self.both_ends_metal, "Are both ends of the travel metal on metal? ", "--both-ends-metal")?;
        if metal == YesNo::No {
            return Err(Failure::usage(
                "nothing moved: an end that is not metal gives way under a push, so it cannot be told \
                 apart from an obstruction. Fit the stops, then start again.",
            ));
        }
        Ok(Answers { degrees, rated_voltage, continuous_current, back_drives: back_drives == YesNo::Yes })
    }
}

/// When a person answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Answered {
    /// Before the start, or nobody was asked.
    Before,
    /// Just now, and stands clear of the lever again.
    JustNow,
}

impl Eyes<'_> {
    /// What the vanes did when the counts went by so much.
    pub(super) fn see(&self, is_first: bool, gone: f64) -> Result<(VanesDid, Answered), Failure> {
        let (Self::Person(args) | Self::Virtual(args, _)) = self;
        let given = if is_first { args.first_nudge } else { args.second_nudge };
        match (given, self) {
            (Some(given), _) => Ok((given, Answered::Before)),
            (None, Self::Virtual(_, direction)) => {
                let opens = gone * f64::from(direction.sign()) > 0.0;
                Ok((if opens { VanesDid::Opened } else { VanesDid::Closed }, Answered::Before))
            }
            (None, Self::Person(_)) => {
                let option = if is_first { "--first-nudge" } else { "--second-nudge" };
                let did = ask_word("What did the vanes do (opened, closed, nothing)? ", option)?;
                caution::clear_again()?;
                Ok((did, Answered::JustNow))
            }
        }
    }
}

fn line(question: &str, option: &str) -> Result<String, Failure> {
    let missing = || Failure::usage(format!("drive off: no answer. Give {option}, then start again."));
    if !std::io::IsTerminal::is_terminal(&std::io::stdin()) {
        return Err(missing());
    }
    caution::answer(question)?.ok_or_else(missing)
}

fn ask_number(question: &str, option: &str, most: f64) -> Result<f64, Failure> {
    let given = line(question, option)?;
    let number = given.parse::<f64>().ok().filter(|number| *number > 0.0 && *number <= most);
    number.ok_or_else(|| Failure::usage(format!("drive off: allowed is a number above 0, up to {most}.")))
}

fn ask_yes(question: &str, option: &str) -> Result<YesNo, Failure> {
    ask_word(question, option)
}

fn ask_word<T: ValueEnum>(question: &str, option: &str) -> Result<T, Failure> {
    let given = line(question, option)?;
    T::from_str(given.trim(), true).map_err(|_| {
        let words = T::value_variants().iter().filter_map(ValueEnum::to_possible_value);
        let words: Vec<String> = words.map(|word| word.get_name().to_owned()).collect();
        Failure::usage(format!("drive off: allowed answers are {}.", words.join(", ")))
    })
}
