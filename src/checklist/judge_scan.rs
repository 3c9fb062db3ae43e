//! Whether a scan is the one wanted; and when not, what it was.

use super::judge::{Because, JobContext, Judged, PartRead, Used, refuse, scan_words};
use super::{Evidence, Expected, ScanOf, Step};
use crate::module::{Match, Role, ScanRead, scan};
use crate::text::shown_within;

/// How much of a scan is repeated in a refusal, in columns.
const REPEATED: usize = 40;

pub(super) fn judge_scan(step: &Step, of: ScanOf, expected: &Expected, raw: &str, context: &JobContext<'_>) -> Judged {
    // Spaces at the ends come from scanners and hands, never from labels.
    let scan = scan::read(raw.trim_matches(' '));
    let accept =
        |serial: Option<String>, part: Option<String>| Judged::Accept { value: scan.raw.clone(), serial, part };
    if of == ScanOf::Module {
        return module(step, expected, &scan, context);
    }
    match expected {
        Expected::Exactly(wanted) if scan.matches_as(role(of), wanted).accepts() => accept(None, None),
        Expected::Exactly(wanted) => {
            let difference = scan.matches_as(role(of), wanted).difference();
            refuse_with(step, of, &scan, context, difference)
        }
        // A badge: kept, unless it plainly is something else.
        Expected::Part { .. } | Expected::AnyModule | Expected::Anything => {
            match what_it_is(of, &scan, step, context) {
                Some((because, what)) => refuse(because, sentence(of, &scan, &what)),
                None => accept(None, None),
            }
        }
    }
}

fn role(of: ScanOf) -> Role {
    match of {
        ScanOf::Enclosure | ScanOf::Chassis | ScanOf::Bay => Role::Tag,
        ScanOf::Slot => Role::Slot,
        ScanOf::Module => Role::Serial,
        ScanOf::Badge => Role::Any,
    }
}

fn module(step: &Step, expected: &Expected, scan: &ScanRead, context: &JobContext<'_>) -> Judged {
    let is_expected = match expected {
        Expected::Exactly(serial) => scan.matches_as(Role::Serial, serial).accepts(),
        Expected::Part { part } => scan.matches_as(Role::Part, part).accepts(),
        Expected::AnyModule | Expected::Anything => false,
    };
    // Used before, even if the plan has it here: then one of the two scans was not of the module in the slot.
    if let Some((because, what)) = used(step, scan, context) {
        return refuse(because, sentence(ScanOf::Module, scan, &what));
    }
    match expected {
        Expected::Exactly(serial) if is_expected => {
            Judged::Accept { value: scan.raw.clone(), serial: Some(serial.clone()), part: marked(scan, Role::Part) }
        }
        Expected::Exactly(serial) => {
            let difference = scan.matches_as(Role::Serial, serial).difference();
            refuse_with(step, ScanOf::Module, scan, context, difference)
        }
        Expected::Part { part } if is_expected => match marked(scan, Role::Serial) {
            Some(serial) => Judged::Accept { value: scan.raw.clone(), serial: Some(serial), part: Some(part.clone()) },
            None if context.part_read.as_ref().is_some_and(|read| read.step == step.id) => {
                let what = "That is the part number again. Now scan the serial on the same module.";
                refuse(Because::PartNumber, sentence(ScanOf::Module, scan, what))
            }
            None => Judged::Partly {
                part: PartRead { step: step.id.clone(), part: part.clone() },
                now: "The part number is right. Now scan the serial on the same module.".to_owned(),
            },
        },
        Expected::Part { part } => {
            let part_read = context.part_read.as_ref().filter(|read| read.step == step.id);
            let Some(part_read) = part_read else {
                // The serial before the part, or another part: what is wanted first is the part number.
                let what = match scan.matches_as(Role::Part, part).difference() {
                    Some(difference) => return near_miss(ScanOf::Module, scan, &difference),
                    None => {
                        "That is not the part number planned for this slot. Scan the part number on the module label first, then the serial. If the label has another part number, put the module aside."
                    }
                };
                return match what_it_is(ScanOf::Module, scan, step, context) {
                    Some((because, known)) if because != Because::PartNumber => {
                        refuse(because, sentence(ScanOf::Module, scan, &known))
                    }
                    _ => refuse(Because::Unknown, sentence(ScanOf::Module, scan, what)),
                };
            };
            match new_serial(step, scan, context) {
                Ok(serial) => Judged::Accept {
                    value: part_read.part.clone(),
                    serial: Some(serial),
                    part: Some(part_read.part.clone()),
                },
                Err(refusal) => refusal,
            }
        }
        Expected::AnyModule | Expected::Anything => match new_serial(step, scan, context) {
            Ok(serial) => {
                Judged::Accept { value: scan.raw.clone(), serial: Some(serial), part: marked(scan, Role::Part) }
            }
            Err(refusal) => refusal,
        },
    }
}

/// The value the code itself marks as a serial or part; a guess does not count.
fn marked(scan: &ScanRead, role: Role) -> Option<String> {
    // The eight digits of a DDR5 code are the serial; the whole of its field has maker, place and date in front.
    let short = scan.field("[S] serial").filter(|_| role == Role::Serial);
    short
        .map(str::to_owned)
        .or_else(|| scan.fields.iter().find(|field| role.takes(&field.identifier)).map(|field| field.value.clone()))
}

/// A serial the plan does not know: whatever the code says, unless it plainly is something else.
fn new_serial(step: &Step, scan: &ScanRead, context: &JobContext<'_>) -> Result<String, Judged> {
    if let Some((because, what)) = what_it_is(ScanOf::Module, scan, step, context) {
        return Err(refuse(because, sentence(ScanOf::Module, scan, &what)));
    }
    let serial = if scan.fields.is_empty() { Some(scan.text.clone()) } else { marked(scan, Role::Serial) };
    serial.filter(|serial| serial.bytes().all(|byte| (b'!'..=b'~').contains(&byte))).ok_or_else(|| {
        let what = "There is no serial in it that could be kept. Scan the code with the serial on the module label.";
        refuse(Because::Unknown, sentence(ScanOf::Module, scan, what))
    })
}

/// Refuses with the best that can be said.
fn refuse_with(
    step: &Step,
    of: ScanOf,
    scan: &ScanRead,
    context: &JobContext<'_>,
    difference: Option<String>,
) -> Judged {
    let (because, what) = match (what_it_is(of, scan, step, context), difference) {
        (Some(known), _) => known,
        (None, Some(difference)) => return near_miss(of, scan, &difference),
        (None, None) => {
            let what = match of {
                ScanOf::Module => "This job knows no such module. Put it aside and take the one the step before names.".to_owned(),
                ScanOf::Chassis | ScanOf::Enclosure => {
                    "The order has another tag. Stop: this may be the wrong machine. Check the order before you touch it.".to_owned()
                }
                ScanOf::Bay => "The order has another bay. Take your hands off, and find the bay the order names.".to_owned(),
                ScanOf::Slot | ScanOf::Badge => format!("Wanted is {}. Scan again.", wanted_words(of)),
            };
            (Because::Unknown, what)
        }
    };
    refuse(because, sentence(of, scan, &what))
}

fn near_miss(of: ScanOf, scan: &ScanRead, difference: &str) -> Judged {
    let what =
        format!("It is nearly {}: {difference}. Scan again; if it stays so, report a problem.", wanted_words(of));
    refuse(Because::NearMiss, sentence(of, scan, &what))
}

fn wanted_words(of: ScanOf) -> &'static str {
    match of {
        ScanOf::Slot => "the label of the slot the step before names",
        of => scan_words(of),
    }
}

fn sentence(of: ScanOf, scan: &ScanRead, what: &str) -> String {
    format!("Read `{}` where {} is wanted. {what}", shown_within(&scan.raw, REPEATED), scan_words(of))
}

/// Whether a module with this serial was scanned before, at another step. Where the text is character for character what is
/// wanted here, a guess at an identifier in front of it does not make it another module.
fn used(step: &Step, scan: &ScanRead, context: &JobContext<'_>) -> Option<(Because, String)> {
    let wanted =
        matches!(&step.evidence, Evidence::Scan { expected: Expected::Exactly(serial), .. } if scan.text == *serial);
    let is = |serial: &str| {
        scan.matches_as(Role::Serial, serial).accepts() && (!wanted || surely(scan, Role::Serial, serial))
    };
    // In the slot where it stands a module may well be scanned again: the machine was opened once more.
    let stays = |used: &Used| !used.out && Some(&used.slot) == step.slot.as_ref();
    // A trial may bring back by its serial what an earlier one took out.
    let comes_back = |used: &Used| used.out && wanted;
    let (_, used) = context
        .used
        .iter()
        .find(|(serial, used)| used.step != step.id && !stays(used) && !comes_back(used) && is(serial))?;
    let slot = &used.slot;
    let what = if used.out {
        format!(
            "This module was taken out of slot {slot} and leaves the machine. Put it back in its bag, and take the one the step before names."
        )
    } else {
        format!(
            "This module is in slot {slot} already, by an earlier scan. One of the two scans was not of the module in the slot: look which, and correct that step."
        )
    };
    Some((Because::AlreadyUsed, what))
}

/// Whether the text, or a field the code itself marks, is `text`. A guess at an identifier is no ground to call a scan
/// something known.
fn surely(scan: &ScanRead, role: Role, text: &str) -> bool {
    match scan.matches_as(role, text) {
        Match::Exactly => true,
        Match::ByField(identifier) => scan.fields.iter().any(|field| field.identifier == identifier),
        _ => false,
    }
}

/// What a scan is, when it is something this job knows but does not want here.
fn what_it_is(of: ScanOf, scan: &ScanRead, step: &Step, context: &JobContext<'_>) -> Option<(Because, String)> {
    let (plan, unit) = (context.plan, context.unit);
    let is = |role: Role, text: &str| scan.matches_as(role, text).accepts();
    let is_surely = |role: Role, text: &str| surely(scan, role, text);
    if let Some(known) = used(step, scan, context).filter(|_| of == ScanOf::Module) {
        return Some(known);
    }
    let twice = context.previous_scan.as_ref().filter(|previous| previous.step != step.id && previous.text == scan.raw);
    if twice.is_some() {
        let what = format!(
            "That is the code of the scan before; the scanner may have sent it twice. Now scan {}.",
            wanted_words(of)
        );
        return Some((Because::ScannedTwice, what));
    }
    if let Some(slot) = plan.board.slots().find(|slot| is_surely(Role::Slot, slot.slot.label.as_str())) {
        let label = &slot.slot.label;
        return Some(if of == ScanOf::Slot {
            let what = format!(
                "You are at slot {label}, not at the slot the step before names. Go there and scan the label beside it."
            );
            (Because::WrongSlot, what)
        } else {
            (Because::SlotLabel, format!("That is the label of slot {label}. Scan {}.", wanted_words(of)))
        });
    }
    for other in &plan.order.unit {
        let here = other.chassis == unit.chassis;
        let tags = [
            (ScanOf::Chassis, Some(&other.chassis)),
            (ScanOf::Enclosure, other.enclosure.as_ref()),
            (ScanOf::Bay, other.bay.as_ref()),
        ];
        for (kind, tag) in tags {
            if !tag.is_some_and(|tag| is_surely(Role::Tag, tag)) {
                continue;
            }
            return Some(if kind == of && !here {
                let what = "It belongs to another machine of this order. Stop: find the machine this job is for before you touch anything.";
                (Because::WrongMachine, what.to_owned())
            } else if kind == of {
                continue;
            } else {
                (Because::Tag, format!("That is {}. Scan {}.", scan_words(kind), wanted_words(of)))
            });
        }
    }
    for planned in &plan.slot {
        let identity = &planned.module.identity;
        let serial = identity.serial.as_deref().is_some_and(|serial| is(Role::Serial, serial));
        if serial && of != ScanOf::Module {
            return Some((Because::ModuleLabel, format!("That is a module label. Scan {}.", wanted_words(of))));
        }
        if serial && step.slot.as_ref() != Some(&planned.slot) {
            let slot = &planned.slot;
            let what = format!(
                "This module goes in slot {slot}. Put it aside for there, and take the one the step before names."
            );
            return Some((Because::OtherSlotsModule, what));
        }
    }
    if let Some(removal) = plan.remove.iter().find(|removal| {
        removal.module.identity.serial.as_deref().is_some_and(|serial| is(Role::Serial, serial))
            && step.slot.as_ref() != Some(&removal.slot)
    }) {
        return Some(if of == ScanOf::Module {
            let what = format!("By the plan this module leaves slot {} and the machine. Put it aside.", removal.slot);
            (Because::OtherSlotsModule, what)
        } else {
            (Because::ModuleLabel, format!("That is a module label. Scan {}.", wanted_words(of)))
        });
    }
    let modules = plan.slot.iter().map(|slot| &slot.module).chain(plan.remove.iter().map(|removal| &removal.module));
    let mut parts = modules.filter_map(|module| module.identity.part.as_deref());
    if parts.any(|part| is_surely(Role::Part, part)) && marked(scan, Role::Serial).is_none() {
        return Some(if of == ScanOf::Module {
            let what = "That is a part number, which many modules share. Scan the serial on the module label.";
            (Because::PartNumber, what.to_owned())
        } else {
            (Because::ModuleLabel, format!("That is a module label. Scan {}.", wanted_words(of)))
        });
    }
    None
}
