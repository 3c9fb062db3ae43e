//! How likely each kind of fault is, and how seating and reporting behave: a data file with a source beside every number.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::source::{Checked, Path, Text, from_toml};

/// The first key of a rates file.
pub const RATES_FORMAT: &str = "slotwise-rates/1";

/// A rates file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rates {
    /// `slotwise-rates/1`.
    pub format: String,
    pub name: String,
    /// When it is meant to be used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<String>,
    pub share: ShareTable,
    pub socket: SocketTable,
    pub seating: SeatingTable,
    pub report: ReportTable,
    pub second: SecondTable,
    pub connector: ConnectorTable,
    pub minutes: MinutesTable,
    /// What pattern tests say, and how a module stood; without it they are not weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<EvidenceTable>,
}

/// How likely the signs of a running machine are.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EvidenceTable {
    /// Corrected errors in one boot from which on they are a stream; not weighed yet.
    pub steady: Figure,
    /// A stream of corrected errors; not weighed yet.
    pub corrected: SignTable,
    /// A pattern test that found an error.
    pub pattern: SignTable,
    /// A module that stood with a latch open or its edge not level before it was touched; without it that is not weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stood: Option<StoodTable>,
}

/// Probability that a module is seen to stand with a latch open or its edge not level.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StoodTable {
    /// Where it is badly seated.
    pub seating: Figure,
    /// Where it is not, whatever else is wrong with it.
    pub sound: Figure,
}

/// Probability of a sign at a slot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SignTable {
    /// Where a faulty module, slot, channel or processor covers it.
    pub covered: Figure,
    /// Where the module is badly seated.
    pub seating: Figure,
    /// Where all is well.
    pub sound: Figure,
}

/// A number and where it is from: a document, a shop's own ledger, or `assumed`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Figure {
    /// A decimal number as text: `0.55`.
    pub value: String,
    pub source: String,
}

/// What share of all faults each kind is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ShareTable {
    pub seating: Figure,
    pub module: Figure,
    pub slot: Figure,
    pub channel: Figure,
    pub socket: Figure,
    pub setting: Figure,
}

/// How the processor's share splits over what it covers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SocketTable {
    /// All channels of the socket.
    pub all: Figure,
    /// Channels that share contacts.
    pub group: Figure,
    /// One channel.
    pub channel: Figure,
}

/// What an insertion does to the seating of a module.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SeatingTable {
    /// Probability that an insertion makes a bad seating good.
    pub clears: Figure,
    /// Probability that an insertion makes a good seating bad.
    pub spoils: Figure,
}

/// How steadily a fault shows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReportTable {
    /// Probability that a failing unit is reported in one boot.
    pub shows: Figure,
}

/// How likely it is that more than one thing is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SecondTable {
    /// Probability that a second fault is there besides the first.
    pub fault: Figure,
    /// Probability that a spare taken for known-good is bad.
    pub bad_spare: Figure,
}

/// What the connector stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ConnectorTable {
    /// Insertions a slot is made for.
    pub insertions: Figure,
}

/// What a trial costs where the job has not measured it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MinutesTable {
    /// One power cycle until the machine reports.
    pub boot: Figure,
    /// One insertion: out, in, latches.
    pub insertion: Figure,
    /// Opening and closing the machine once.
    pub opening: Figure,
    /// Taking one cover inside off and putting it back; 0 where it is not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cover: Option<Figure>,
}

impl Rates {
    fn figures(&self) -> Vec<(&'static str, &'static str, &Figure, bool)> {
        let mut all = vec![
            ("share", "seating", &self.share.seating, true),
            ("share", "module", &self.share.module, true),
            ("share", "slot", &self.share.slot, true),
            ("share", "channel", &self.share.channel, true),
            ("share", "socket", &self.share.socket, true),
            ("share", "setting", &self.share.setting, true),
            ("socket", "all", &self.socket.all, true),
            ("socket", "group", &self.socket.group, true),
            ("socket", "channel", &self.socket.channel, true),
            ("seating", "clears", &self.seating.clears, true),
            ("seating", "spoils", &self.seating.spoils, true),
            ("report", "shows", &self.report.shows, true),
            ("second", "fault", &self.second.fault, true),
            ("second", "bad_spare", &self.second.bad_spare, true),
            ("connector", "insertions", &self.connector.insertions, false),
            ("minutes", "boot", &self.minutes.boot, false),
            ("minutes", "insertion", &self.minutes.insertion, false),
            ("minutes", "opening", &self.minutes.opening, false),
        ];
        if let Some(evidence) = &self.evidence {
            all.push(("evidence", "steady", &evidence.steady, false));
            for (table, sign) in [("evidence.corrected", &evidence.corrected), ("evidence.pattern", &evidence.pattern)]
            {
                all.push((table, "covered", &sign.covered, true));
                all.push((table, "seating", &sign.seating, true));
                all.push((table, "sound", &sign.sound, true));
            }
            if let Some(stood) = &evidence.stood {
                all.push(("evidence.stood", "seating", &stood.seating, true));
                all.push(("evidence.stood", "sound", &stood.sound, true));
            }
        }
        all.extend(self.minutes.cover.as_ref().map(|figure| ("minutes", "cover", figure, false)));
        all
    }
}

impl Figure {
    /// The number; 0 where the text is none, which [`Checked::check`] reports.
    pub fn number(&self) -> f64 {
        self.parsed().unwrap_or(0.0)
    }

    fn parsed(&self) -> Option<f64> {
        let plain = self.value.len() <= 12 && self.value.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        if plain { self.value.parse().ok() } else { None }
    }
}

impl Checked for Rates {
    const FORMAT: &'static str = RATES_FORMAT;

    fn check(&self, report: &mut dyn FnMut(Path, String, Option<String>)) {
        let at = |table: &str, key: &str| table.split('.').fold(Path::default(), |path, part| path.key(part)).key(key);
        for (table, key, figure, is_probability) in self.figures() {
            match figure.parsed() {
                None => report(
                    at(table, key).key("value"),
                    format!("\"{}\" is not a decimal number", crate::text::shown(&figure.value)),
                    Some("write it as digits, such as \"0.55\"".to_owned()),
                ),
                Some(value) if is_probability && value > 1.0 => report(
                    at(table, key).key("value"),
                    format!("{value} is no probability"),
                    Some("a number from 0 to 1".to_owned()),
                ),
                Some(_) => {}
            }
            if figure.source.trim().is_empty() {
                report(
                    at(table, key).key("source"),
                    "a number without its source".to_owned(),
                    Some("name the document, the ledger, or write \"assumed\"".to_owned()),
                );
            }
        }
        let mut sums: BTreeMap<&str, f64> = BTreeMap::new();
        for (table, _, figure, _) in self.figures() {
            *sums.entry(table).or_default() += figure.number();
        }
        for table in ["share", "socket"] {
            let sum = sums.get(table).copied().unwrap_or(0.0);
            if (sum - 1.0).abs() > 1e-6 {
                report(
                    Path::default().key(table),
                    format!("the shares add up to {}", (sum * 1e6).round() / 1e6),
                    Some("they must add up to 1".to_owned()),
                );
            }
        }
        if self.report.shows.number() <= 0.0 {
            report(
                Path::default().key("report").key("shows").key("value"),
                "a fault that never shows cannot be found".to_owned(),
                None,
            );
        }
    }
}

/// Shares of the kinds of fault, as numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    pub seating: f64,
    pub module: f64,
    pub slot: f64,
    pub channel: f64,
    pub socket: f64,
    pub setting: f64,
    pub socket_all: f64,
    pub socket_group: f64,
    pub socket_channel: f64,
}

impl Shares {
    /// The shares of a rates file.
    pub fn of(rates: &Rates) -> Self {
        Self {
            seating: rates.share.seating.number(),
            module: rates.share.module.number(),
            slot: rates.share.slot.number(),
            channel: rates.share.channel.number(),
            socket: rates.share.socket.number(),
            setting: rates.share.setting.number(),
            socket_all: rates.socket.all.number(),
            socket_group: rates.socket.group.number(),
            socket_channel: rates.socket.channel.number(),
        }
    }

    /// Seating, module, slot, channel, socket; no settings; the socket's share split 0.5 / 0.3 / 0.2.
    pub const fn new(seating: f64, module: f64, slot: f64, channel: f64, socket: f64) -> Self {
        let (socket_all, socket_group, socket_channel) = (0.5, 0.3, 0.2);
        Self { seating, module, slot, channel, socket, setting: 0.0, socket_all, socket_group, socket_channel }
    }

    /// A place missing at the first boot after fitting modules. Assumed: no published split exists.
    pub const fn install() -> Self {
        Self::new(0.55, 0.20, 0.05, 0.05, 0.15)
    }

    /// Errors on a machine that had been running. Assumed.
    pub const fn service() -> Self {
        Self::new(0.10, 0.60, 0.05, 0.10, 0.15)
    }

    /// No leaning. Assumed.
    pub const fn flat() -> Self {
        Self::new(0.20, 0.20, 0.20, 0.20, 0.20)
    }
}

/// The rates that come with the program, by name.
///
/// # Errors
/// The faults of the shipped file; a test reads all of them.
pub fn shipped(name: &str) -> Option<Result<Rates, crate::source::Faults>> {
    let (file, text) = match name {
        "install" => ("install.toml", include_str!("../../checklists/rates/install.toml")),
        "service" => ("service.toml", include_str!("../../checklists/rates/service.toml")),
        "flat" => ("flat.toml", include_str!("../../checklists/rates/flat.toml")),
        _ => return None,
    };
    Some(from_toml(&Text { file, bytes: text.as_bytes() }))
}

/// The names of the rates that come with the program.
pub const SHIPPED: [&str; 3] = ["install", "service", "flat"];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shipped_rates_are_valid_and_say_what_the_yardstick_says() {
        for (name, shares) in [("install", Shares::install()), ("service", Shares::service()), ("flat", Shares::flat())]
        {
            let rates = shipped(name).unwrap().unwrap();
            let read = Shares::of(&rates);
            // A small share for settings comes on top of the yardstick's five kinds, taken evenly from them.
            let rest = 1.0 - read.setting;
            assert!((read.seating / rest - shares.seating).abs() < 1e-6, "{name} {read:?}");
            assert!((read.module / rest - shares.module).abs() < 1e-6, "{name} {read:?}");
            assert!((read.socket / rest - shares.socket).abs() < 1e-6, "{name} {read:?}");
        }
        assert!(shipped("other").is_none());
    }

    #[test]
    fn every_fault_of_a_rates_file_is_named() {
        let text = include_str!("../../checklists/rates/flat.toml")
            .replacen("value = \"0.5\"", "value = \"0.6\"", 1)
            .replacen("value = \"0.9\"", "value = \"often\"", 1)
            .replacen("value = \"0.01\"", "value = \"1.5\"", 1);
        let faults = from_toml::<Rates>(&Text { file: "flat.toml", bytes: text.as_bytes() }).unwrap_err();
        let shown: Vec<String> = faults.faults.iter().map(|fault| format!("{}: {}", fault.path, fault.what)).collect();
        let shown = shown.join("\n");
        assert!(shown.contains("the shares add up to 1.1"), "{shown}");
        assert!(shown.contains("seating.clears.value: \"often\" is not a decimal number"), "{shown}");
        assert!(shown.contains("seating.spoils.value: 1.5 is no probability"), "{shown}");
    }
}
