//! What single slots show: missing, unplanned, shut off, wrong, unknown.

use crate::board::{Board, SlotLabel};
use crate::snapshot::{SlotReport, SlotState};
use crate::text::{PROCESSOR, by_hand, shown};
use crate::units::Size;

use super::finding::{Finding, FindingKind, Grave};
use super::input::Input;
use super::matching::Matched;
use super::place::{Place, Serials};
use super::wording::{about, list, reported_module, source_of};

/// What the state of a slot says: missing, unplanned, shut off. `used_though_off` says that the system uses the modules
/// that are reported as not used.
pub(super) fn state_finding(place: &Place<'_>, places: &[Place<'_>], used_though_off: Option<&str>) -> Option<Finding> {
    let report = place.report?;
    let label = place.label();
    match (place.planned, report.state) {
        (Some(_), SlotState::Empty) if !place.found_elsewhere => {
            let mut finding =
                about(FindingKind::Missing, place, Grave::Stop, ("state", "size"), missing_next(place, places));
            finding.reported = Some("empty".to_owned());
            Some(finding)
        }
        // Its place is taken by a module that belongs elsewhere, and it is itself nowhere.
        (Some(_), SlotState::Fitted) if place.displaced && !place.found_elsewhere => {
            let next = format!(
                "The module for {label} is not in the machine; the one in {label} belongs elsewhere. Look for it on the bench, \
                 then insert it here."
            );
            Some(about(FindingKind::Missing, place, Grave::Stop, ("serial", "serial number"), next))
        }
        (Some(_), SlotState::Unknown) => {
            let next = format!(
                "The firmware does not say what is in {label}. Look at its setup screen or its error log; reseat the module, \
                 start and capture again."
            );
            let mut finding = about(FindingKind::Missing, place, Grave::Look, ("state", "size"), next);
            finding.reported = Some(format!("not known{}", because(report)));
            Some(finding)
        }
        (planned, SlotState::ShutOff) => {
            let unplanned = if planned.is_none() { " No module is planned here." } else { "" };
            let next = format!(
                "The firmware sees this module and does not use it.{unplanned} Read the firmware's error log, reseat the module, \
                 and clear a kept disable mark in the setup; if it stays off, exchange it with one that works: what goes with the \
                 module is the module, what stays is the slot."
            );
            let mut finding = about(FindingKind::ShutOff, place, Grave::Stop, ("state", "size"), next);
            finding.reported = Some(format!("{}, shut off{}", reported_module(report), because(report)));
            if let Some(used) = used_though_off {
                finding.reported = Some(format!("{}, shut off; {used}", reported_module(report)));
                finding.grave = Grave::Look;
                finding.next =
                    "Look in the firmware's setup whether it uses this module, before anything is opened.".to_owned();
            }
            Some(finding)
        }
        (None, SlotState::Fitted) if !place.displaced => {
            let next =
                format!("The plan leaves {label} empty. Take the module out, or change the plan if it is to stay.");
            let mut finding = about(FindingKind::Unplanned, place, Grave::Look, ("state", "size"), next);
            finding.planned = Some("empty".to_owned());
            Some(finding)
        }
        _ => None,
    }
}

fn because(report: &SlotReport) -> String {
    report.because.as_deref().map_or_else(String::new, |why| format!(": {}", crate::text::shown_within(why, 240)))
}

/// What to do about a slot that shows no module. No report can tell why; a whole channel that shows none says a little more.
fn missing_next(place: &Place<'_>, places: &[Place<'_>]) -> String {
    let label = place.label();
    let seen = match place.report {
        Some(_) => {
            "Reported as empty: not fully seated, shut off or dead, which cannot be told from this source.".to_owned()
        }
        None => format!(
            "The snapshot has no line for {label}: its module is not fully seated, shut off or dead and the slot lost its \
             name, or the firmware has another name for it (then add that to reports_as in the board's file)."
        ),
    };
    let channel: Vec<&Place<'_>> = places
        .iter()
        .filter(|other| other.planned.is_some())
        .filter(|other| {
            (other.at.socket_index, other.at.channel_index) == (place.at.socket_index, place.at.channel_index)
        })
        .collect();
    let all_gone = channel.len() > 1 && channel.iter().all(|other| other.shows_no_module() && !other.found_elsewhere);
    let hint = if all_gone {
        format!(
            " All modules of channel {} of {} are gone: one of them, the channel or the processor's seat may be the cause. \
             {PROCESSOR}",
            shown(&place.at.channel.label),
            shown(&place.at.socket.label)
        )
    } else {
        String::new()
    };
    format!(
        "{seen}{hint} Press the module in {label} until every latch closes, start and capture again. If it stays empty, \
         exchange it with one that works: what goes with the module is the module, what stays is the slot."
    )
}

/// Whether the right module is there: at most one finding, the most telling first.
pub(super) fn module_finding(place: &Place<'_>) -> Option<Finding> {
    if place.planned.is_none() || !place.is_fitted() || place.displaced {
        return None;
    }
    let label = place.label();
    let serials = place.serials();
    let swap = |what: &str| {
        format!("{what} in {label}. Compare its label with the plan, and exchange it for the planned one.")
    };
    if serials == Serials::Differ {
        return Some(about(
            FindingKind::WrongModule,
            place,
            Grave::Stop,
            ("serial", "serial number"),
            swap("Another module is"),
        ));
    }
    if let Some((planned, reported)) = place.sizes_differ() {
        let next = if serials == Serials::Same {
            format!(
                "The right module shows {} of its {}. Read the firmware's error log, reseat the module, start and capture again.",
                Size::from_mib(reported),
                Size::from_mib(planned)
            )
        } else {
            swap("A module of another size is")
        };
        return Some(about(FindingKind::WrongSize, place, Grave::Stop, ("size_mib", "size"), next));
    }
    if serials == Serials::Same {
        return None;
    }
    if place.kinds_differ() {
        let next = swap("A module of another kind is");
        return Some(about(FindingKind::WrongKind, place, Grave::Stop, ("kind", "type detail"), next));
    }
    if place.parts_differ() {
        let next = format!(
            "Another part is in {label}. Compare the label: if the firmware only writes it differently, put its spelling \
             into the plan; else exchange the module."
        );
        return Some(about(FindingKind::WrongModule, place, Grave::Look, ("part", "part number"), next));
    }
    let told_by_part = place.expected_part().is_some() && place.reported_part().is_some();
    if place.ranks_differ() && !told_by_part {
        let next = swap("A module with other ranks is");
        return Some(about(FindingKind::WrongModule, place, Grave::Look, ("ranks", "ranks"), next));
    }
    None
}

/// Slots of the board that the report does not have, where it has `strange` modules in slots of unknown names. Slots of a
/// socket without a processor may be left out.
pub(super) fn unlisted(input: &Input<'_>, places: &[Place<'_>], strange: usize) -> Vec<Finding> {
    let has_processor = |place: &&Place<'_>| {
        let units = &input.plan.order.unit;
        units.is_empty()
            || units.iter().any(|unit| {
                unit.processor.is_empty() || unit.processor.iter().any(|one| one.socket == place.at.socket.label)
            })
    };
    let gone: Vec<&Place<'_>> = places.iter().filter(|place| place.report.is_none()).collect();
    let planned = || gone.iter().filter(|place| place.planned.is_some());
    let awaited = planned().filter(|place| !place.found_elsewhere).count();
    let mut findings: Vec<Finding> = planned()
        .map(|place| {
            // Fewer modules in slots of unknown names than slots without a line: a module is not there.
            if strange < awaited && !place.found_elsewhere {
                let field = ("state", "locator");
                return about(FindingKind::Missing, place, Grave::Stop, field, by_hand(&missing_next(place, places)));
            }
            let next = format!(
                "The report has no line for {}. Check what the board's file says the firmware calls it (reports_as).",
                place.label()
            );
            about(FindingKind::UnknownSlot, place, Grave::Stop, ("state", "locator"), next)
        })
        .collect();
    let empty: Vec<&SlotLabel> =
        gone.iter().filter(|place| place.planned.is_none()).filter(|p| has_processor(p)).map(|p| p.label()).collect();
    if let Some(first) = empty.first() {
        findings.push(Finding {
            kind: FindingKind::UnknownSlot,
            slot: (empty.len() == 1).then(|| (*first).clone()),
            module: None,
            planned: Some(format!("{}, planned to stay empty", list(empty.iter().copied()))),
            reported: None,
            source: "snapshot, slots".to_owned(),
            grave: Grave::Note,
            next: "The report has no line for it. Check what the board's file says the firmware calls it (reports_as), and \
                   whether the firmware lists a processor in its socket."
                .to_owned(),
        });
    }
    findings
}

/// Modules that the report shows in slots the board does not have.
pub(super) fn strangers(matched: &Matched, reports: &[SlotReport]) -> Vec<Finding> {
    let holds = |report: &&SlotReport| matches!(report.state, SlotState::Fitted | SlotState::ShutOff);
    matched
        .strangers
        .iter()
        .map(|line| &reports[*line])
        .filter(holds)
        .map(|report| {
            let locator = shown(report.locator.as_deref().unwrap_or("(no locator)"));
            Finding {
                kind: FindingKind::UnknownSlot,
                slot: None,
                module: Some(reported_module(report)),
                planned: None,
                reported: Some(match report.bank.as_deref() {
                    Some(bank) => format!("{locator}, bank {}: {}", shown(bank), reported_module(report)),
                    None => format!("{locator}: {}", reported_module(report)),
                }),
                source: source_of(report, "locator", "device locator"),
                grave: Grave::Look,
                next: "The board's file has no slot of this name. Look the name up in the machine's manual, and add it to the \
                       reports_as of its slot."
                    .to_owned(),
            }
        })
        .collect()
}

/// Every name of the report is strange: the wrong board rather than dozens of wrong slots.
pub(super) fn no_slot_known(board: &Board, reports: &[SlotReport]) -> Finding {
    let names: Vec<String> =
        reports.iter().take(4).map(|report| shown(report.locator.as_deref().unwrap_or("(none)")).to_string()).collect();
    Finding {
        kind: FindingKind::UnknownSlot,
        slot: None,
        module: None,
        planned: Some(format!("{} slots of board {}", board.slots().count(), shown(&board.name))),
        reported: Some(format!("{} slots, none of them known: {} ...", reports.len(), names.join(", "))),
        source: "smbios type 17, device locator".to_owned(),
        grave: Grave::Stop,
        next: "The report names no slot of this board. Check that it is the right board; else fill in reports_as in its file \
               with the names that capture lists."
            .to_owned(),
    }
}
