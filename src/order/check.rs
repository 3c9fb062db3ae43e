//! What a schema cannot say about an order.

use std::collections::BTreeMap;

use super::{ORDER_FORMAT, Order};
use crate::board::{check_names, unusable};
use crate::module::{Module, is_volts};
use crate::source::{Checked, Path};
use crate::text::shown;

/// The most units, and the most fitted modules, of one order.
const LONGEST: usize = 10_000;

type Report<'r> = dyn FnMut(Path, String, Option<String>) + 'r;

impl Checked for Order {
    const FORMAT: &'static str = ORDER_FORMAT;

    fn check(&self, report: &mut Report<'_>) {
        let root = Path::default();
        if self.format != ORDER_FORMAT {
            report(root.key("format"), format!("`{}` is not `{ORDER_FORMAT}`", shown(&self.format)), None);
        }
        if let Some(why) = unusable(&self.name) {
            report(root.key("name"), why.to_owned(), None);
        }
        if self.unit.is_empty() {
            report(root.key("unit"), "an order is for at least one unit".to_owned(), None);
        }
        if self.gib.is_some_and(|gib| gib.mib() == 0) {
            report(root.key("gib"), "0 GiB".to_owned(), Some("leave it out when no capacity is asked for".to_owned()));
        }
        if let Some(length) = [self.unit.len(), self.fitted.len()].into_iter().find(|length| *length > LONGEST) {
            report(root, format!("a list of {length}; no list of an order is longer than {LONGEST}"), None);
            return;
        }
        self.check_units(report);
        self.check_fitted(report);
    }
}

impl Order {
    fn check_units(&self, report: &mut Report<'_>) {
        let path = Path::default().key("unit");
        let tags = self.unit.iter().enumerate().map(|(n, unit)| (path.index(n).key("chassis"), unit.chassis.as_str()));
        check_names("unit", tags, report);
        let mut bays: BTreeMap<(&str, &str), &str> = BTreeMap::new();
        for (n, unit) in self.unit.iter().enumerate() {
            let at = path.index(n);
            match (&unit.enclosure, &unit.bay) {
                (None, Some(_)) => {
                    let help = "give the tag of the enclosure the bay is in".to_owned();
                    report(at.key("bay"), "a bay without an enclosure".to_owned(), Some(help));
                }
                (Some(_), None) => {
                    let help = "say which bay, so that the right node is opened".to_owned();
                    report(at.key("enclosure"), "an enclosure without a bay".to_owned(), Some(help));
                }
                (Some(enclosure), Some(bay)) => {
                    for (key, name) in [("enclosure", enclosure), ("bay", bay)] {
                        if let Some(why) = unusable(name) {
                            report(at.key(key), why.to_owned(), None);
                        }
                    }
                    if let Some(first) = bays.insert((enclosure, bay), &unit.chassis) {
                        report(at.key("bay"), format!("unit `{}` sits in this bay already", shown(first)), None);
                    }
                }
                (None, None) => {}
            }
            let sockets = unit.processor.iter().enumerate();
            let named = sockets.map(|(p, one)| (at.key("processor").index(p).key("socket"), one.socket.as_str()));
            check_names("socket", named, report);
        }
    }

    fn check_fitted(&self, report: &mut Report<'_>) {
        let path = Path::default().key("fitted");
        let slots = self.fitted.iter().enumerate();
        check_names("slot", slots.map(|(n, one)| (path.index(n).key("slot"), one.slot.as_str())), report);
        let modules = self.fitted.iter().enumerate().map(|(n, one)| (path.index(n), &one.module));
        check_modules(modules, &mut BTreeMap::new(), report);
        for (n, fitted) in self.fitted.iter().enumerate() {
            check_volts(&path.index(n), fitted.volts.as_deref(), report);
            if self.unit.len() > 1 && serial(&fitted.module).is_some() {
                let what = format!("a serial names one module; this order has {} units", self.unit.len());
                let help = "leave serials out, or write one order a unit".to_owned();
                report(path.index(n).key("serial"), what, Some(help));
            }
        }
    }
}

/// Reports a voltage that is none.
pub(crate) fn check_volts(path: &Path, volts: Option<&str>, report: &mut Report<'_>) {
    if let Some(volts) = volts.filter(|volts| !is_volts(volts)) {
        let help = "write the supply voltage in volts, such as \"1.35\", or leave it out".to_owned();
        report(path.key("volts"), format!("`{}` is no supply voltage of a module", shown(volts)), Some(help));
    }
}

/// Reports modules of no size and serials that are in `seen` already.
pub(crate) fn check_modules<'a>(
    modules: impl IntoIterator<Item = (Path, &'a Module)>,
    seen: &mut BTreeMap<&'a str, Path>,
    report: &mut Report<'_>,
) {
    for (path, module) in modules {
        if module.spec.gib.mib() == 0 {
            report(path.key("gib"), "a module of 0 GiB".to_owned(), None);
        }
        if module.spec.ranks.is_some_and(|ranks| !(1..=16).contains(&ranks)) {
            report(path.key("ranks"), "a module has 1 to 16 ranks".to_owned(), None);
        }
        if module.spec.width.is_some_and(|width| ![4, 8, 16, 32].contains(&width)) {
            report(path.key("width"), "a device is 4, 8, 16 or 32 bits wide".to_owned(), None);
        }
        if let Some(serial) = serial(module) {
            let key = path.key("serial");
            if let Some(first) = seen.get(serial) {
                report(key, format!("serial `{}` stands twice, first at {first}", shown(serial)), None);
            } else {
                seen.insert(serial, key);
            }
        }
    }
}

/// The serial, where it is one: not empty and not all zeros or all ones, which modules without a serial report.
fn serial(module: &Module) -> Option<&str> {
    let serial = module.identity.serial.as_deref()?;
    let blank = serial.bytes().all(|byte| byte == b'0') || serial.bytes().all(|byte| byte.eq_ignore_ascii_case(&b'f'));
    (!blank && !serial.trim().is_empty()).then_some(serial)
}
