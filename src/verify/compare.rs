//! The comparison, slot by slot.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::board::{Board, SlotLabel, SlotRef};
use crate::plan::PlanSlot;
use crate::snapshot::{SlotReport, SlotState};
use crate::text::shown;
use crate::units::Size;

use super::finding::{Finding, FindingKind, Grave};
use super::identity::serial_key;
use super::input::Input;
use super::matching::{Matched, match_slots};
use super::place::{Place, Serials};
use super::wording::{list, planned_module, reported_module, short_name, source_of};
use super::{exchange, stale, totals};

/// What came out of a comparison.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Comparison {
    /// The gravest first, then in board order.
    pub findings: Vec<Finding>,
    pub compared: Compared,
    /// What could not be checked, and what is odd but known from sound machines.
    pub notes: Vec<String>,
}

/// How much was compared, and by what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Compared {
    /// Slots of the board that the report has.
    pub slots: u32,
    /// Planned modules that the report shows as working.
    pub modules: u32,
    /// Of these, told by serial.
    pub by_serial: u32,
    /// Of these, told by part number alone.
    pub by_part: u32,
    /// Of these, told by size, kind and ranks alone.
    pub by_description: u32,
    /// Of these, with a rate to compare.
    pub speeds: u32,
}

/// All differences between plan and snapshot.
pub fn compare(input: &Input<'_>) -> Vec<Finding> {
    compare_all(input).findings
}

/// All differences between plan and snapshot, with how much was compared.
pub fn compare_all(input: &Input<'_>) -> Comparison {
    let mut notes = Vec::new();
    let mut compared = Compared::default();
    if let Some(finding) = stale::find(input, &mut notes) {
        return Comparison { findings: vec![finding], compared, notes };
    }
    let (plan, snapshot) = (input.plan, input.snapshot);
    let mut findings = Vec::new();
    if snapshot.slots.is_empty() {
        findings.push(totals::against_plan(plan, snapshot));
        findings.extend(uneven_nodes(input, &findings));
        return Comparison { findings, compared, notes };
    }
    let matched = match_slots(&plan.board, &snapshot.slots);
    if matched.report_of.iter().all(Option::is_none) {
        findings.push(no_slot_known(&plan.board, &snapshot.slots));
        return Comparison { findings, compared, notes };
    }
    let mut places = places(input, &matched);
    compared.slots = places.iter().filter(|place| place.report.is_some()).count() as u32;
    findings.extend(exchange::find(&mut places));
    for place in &places {
        findings.extend(state_finding(place, &places));
        findings.extend(module_finding(place));
        count(place, plan.mts.is_some(), &mut compared);
    }
    findings.extend(unlisted(input, &places));
    findings.extend(strangers(&matched, &snapshot.slots));
    findings.extend(unreadable(&places));
    findings.extend(twice(&places, &mut notes));
    slower(input, &places, &mut findings);
    findings.extend(counted(input, &places));
    findings.extend(totals::against_slots(snapshot, &mut notes));
    findings.extend(uneven_nodes(input, &findings));
    sort(&mut findings, &plan.board);
    Comparison { findings, compared, notes }
}

fn places<'a>(input: &'a Input<'a>, matched: &Matched) -> Vec<Place<'a>> {
    let place = |at: SlotRef<'a>| Place {
        at,
        planned: input.plan.module_at(at.slot.label.as_str()),
        scanned: input.scanned.get(&at.slot.label),
        report: matched.report_of[at.index].map(|line| &input.snapshot.slots[line]),
        serial_tells: true,
        displaced: false,
        found_elsewhere: false,
    };
    let mut places: Vec<Place<'_>> = input.plan.board.slots().map(place).collect();
    let mut wanted: BTreeMap<String, u32> = BTreeMap::new();
    for serial in places.iter().filter_map(Place::wanted_serial) {
        *wanted.entry(serial_key(serial)).or_default() += 1;
    }
    for place in &mut places {
        place.serial_tells =
            place.wanted_serial().is_none_or(|serial| wanted.get(&serial_key(serial)).is_none_or(|count| *count == 1));
    }
    places
}

fn count(place: &Place<'_>, mts_known: bool, compared: &mut Compared) {
    if place.planned.is_none() || !place.is_fitted() {
        return;
    }
    compared.modules += 1;
    match place.serials() {
        Serials::Same | Serials::Differ => compared.by_serial += 1,
        _ if place.expected_part().is_some() && place.reported_part().is_some() => compared.by_part += 1,
        _ => compared.by_description += 1,
    }
    if mts_known && place.report.is_some_and(|report| report.configured_mts.is_some()) {
        compared.speeds += 1;
    }
}

/// A finding about a planned or reported module, with what is the same in all of them filled in.
fn about(kind: FindingKind, place: &Place<'_>, grave: Grave, (field, word): (&str, &str), next: String) -> Finding {
    Finding {
        kind,
        slot: Some(place.label().clone()),
        module: match (place.planned, place.report) {
            (Some(planned), _) => Some(short_name(planned, place.scanned)),
            (None, Some(report)) => Some(reported_module(report)),
            (None, None) => None,
        },
        planned: Some(planned_module(place)),
        reported: place.report.map(reported_module),
        source: place.report.map_or_else(|| "snapshot, slots".to_owned(), |report| source_of(report, field, word)),
        grave,
        next,
    }
}

/// What the state of a slot says: missing, unplanned, shut off.
fn state_finding(place: &Place<'_>, places: &[Place<'_>]) -> Option<Finding> {
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
                 and clear a kept disable mark in the setup; if it stays off, run isolate."
            );
            let mut finding = about(FindingKind::ShutOff, place, Grave::Stop, ("state", "size"), next);
            finding.reported = Some(format!("{}, shut off{}", reported_module(report), because(report)));
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

/// What to do about an empty slot. No report can tell why it is empty; a whole channel that is empty says a little more.
fn missing_next(place: &Place<'_>, places: &[Place<'_>]) -> String {
    let label = place.label();
    let channel: Vec<&Place<'_>> = places
        .iter()
        .filter(|other| other.planned.is_some())
        .filter(|other| {
            (other.at.socket_index, other.at.channel_index) == (place.at.socket_index, place.at.channel_index)
        })
        .collect();
    let all_gone = channel.len() > 1
        && channel.iter().all(|other| other.state() == Some(SlotState::Empty) && !other.found_elsewhere);
    let hint = if all_gone {
        format!(
            " All modules of channel {} of {} are gone: one of them, the channel or the processor's seat may be the cause.",
            shown(&place.at.channel.label),
            shown(&place.at.socket.label)
        )
    } else {
        String::new()
    };
    format!(
        "Reported as empty: not fully seated, shut off or dead, which cannot be told from this source.{hint} Power off, press \
         the module in {label} until both latches close, start and capture again; if it stays empty, run isolate."
    )
}

/// Whether the right module is there: at most one finding, the most telling first.
fn module_finding(place: &Place<'_>) -> Option<Finding> {
    if place.planned.is_none() || !place.is_fitted() || place.displaced {
        return None;
    }
    let label = place.label();
    let serials = place.serials();
    let swap = |what: &str| {
        format!("{what} in {label}. Power off, compare its label with the plan, and exchange it for the planned one.")
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
                "The right module shows {} of its {}. Read the firmware's error log, reseat it, start and capture again.",
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

/// Slots of the board that the report does not have. Those of a socket without a processor may be left out.
fn unlisted(input: &Input<'_>, places: &[Place<'_>]) -> Vec<Finding> {
    let has_processor = |place: &&Place<'_>| {
        let units = &input.plan.order.unit;
        units.is_empty()
            || units.iter().any(|unit| {
                unit.processor.is_empty() || unit.processor.iter().any(|one| one.socket == place.at.socket.label)
            })
    };
    let gone: Vec<&Place<'_>> = places.iter().filter(|place| place.report.is_none()).collect();
    let mut findings: Vec<Finding> = gone
        .iter()
        .filter(|place| place.planned.is_some())
        .map(|place| {
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
                   whether a processor is in its socket."
                .to_owned(),
        });
    }
    findings
}

/// Modules that the report shows in slots the board does not have.
fn strangers(matched: &Matched, reports: &[SlotReport]) -> Vec<Finding> {
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
                next: "The board's file has no slot of this name. Find the slot, and add the name to its reports_as."
                    .to_owned(),
            }
        })
        .collect()
}

/// Every name of the report is strange: the wrong board rather than dozens of wrong slots.
fn no_slot_known(board: &Board, reports: &[SlotReport]) -> Finding {
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
               (board draft reads the names from a snapshot)."
            .to_owned(),
    }
}

/// Modules whose serial is expected and cannot be read; one finding when the firmware reads none at all.
fn unreadable(places: &[Place<'_>]) -> Vec<Finding> {
    let expecting: Vec<&Place<'_>> =
        places.iter().filter(|p| p.is_fitted() && !p.displaced && p.expected_serial().is_some()).collect();
    let mute: Vec<&Place<'_>> = expecting.iter().copied().filter(|p| p.serials() == Serials::Unreadable).collect();
    let field = ("serial", "serial number");
    let mut findings = Vec::new();
    if mute.len() == expecting.len() && mute.len() > 1 {
        let first = mute[0];
        let next = "This firmware reads no serials: compare the labels with the plan by eye or by scanner.".to_owned();
        findings.push(Finding {
            slot: None,
            module: None,
            planned: Some(format!("serials in {}", list(mute.iter().map(|place| place.label())))),
            reported: Some("none".to_owned()),
            ..about(FindingKind::UnreadableIdentity, first, Grave::Look, field, next)
        });
    } else {
        findings.extend(mute.into_iter().map(|place| {
            let next =
                format!("The firmware reads no serial in {}: compare its label by eye or by scanner.", place.label());
            about(FindingKind::UnreadableIdentity, place, Grave::Look, field, next)
        }));
    }
    findings.extend(expecting.into_iter().filter(|p| p.serials() == Serials::OtherForm).map(|place| {
        let next = format!(
            "Label and firmware write the serial of {} in different forms, so they cannot be compared; the part is the same. \
             Compare the label by eye.",
            place.label()
        );
        about(FindingKind::UnreadableIdentity, place, Grave::Look, field, next)
    }));
    findings
}

/// The same serial reported in two slots, by modules that do not say they are of different parts. What the plan itself
/// wants twice is no difference; and a serial that three or more slots and all of them carry is none.
fn twice(places: &[Place<'_>], notes: &mut Vec<String>) -> Vec<Finding> {
    let fitted: Vec<&Place<'_>> = places.iter().filter(|place| place.is_fitted()).collect();
    let mut by_serial: BTreeMap<String, Vec<&Place<'_>>> = BTreeMap::new();
    for place in &fitted {
        if let Some(serial) = place.reported_serial() {
            by_serial.entry(serial_key(serial)).or_default().push(place);
        }
    }
    let mut findings = Vec::new();
    for (serial, same) in by_serial {
        let first = same[0];
        let parts_alike = same.iter().all(|place| match (place.reported_part(), first.reported_part()) {
            (Some(one), Some(other)) => super::parts_equal(one, other),
            _ => true,
        });
        let planned_so =
            same.iter().all(|place| place.wanted_serial().is_some_and(|wanted| serial_key(wanted) == serial));
        if same.len() < 2 || !parts_alike || planned_so {
            continue;
        }
        if same.len() > 2 && same.len() == fitted.len() {
            notes.push(format!(
                "all slots report serial {}, so it is the machine's and not the modules'",
                shown(&serial)
            ));
            continue;
        }
        let labels = list(same.iter().map(|place| place.label()));
        let next =
            format!("{labels} report the same serial. Compare their labels: one may be a copy or wrongly programmed.");
        findings.push(Finding {
            planned: None,
            reported: Some(format!("serial {} in {labels}", shown(&serial))),
            module: Some(format!("serial {}", shown(&serial))),
            ..about(FindingKind::DuplicateSerial, first, Grave::Look, ("serial", "serial number"), next)
        });
    }
    findings
}

/// Modules that run below the planned rate. Some firmware reports 2933 as 2934, so one MT/s is no difference. Where a
/// wrong module explains the rate, its own finding says so.
fn slower(input: &Input<'_>, places: &[Place<'_>], findings: &mut Vec<Finding>) {
    let Some(planned) = input.plan.mts else { return };
    let running: Vec<(&Place<'_>, u32)> = places
        .iter()
        .filter(|place| place.is_fitted())
        .filter_map(|place| Some((place, place.report?.configured_mts?)))
        .collect();
    let mut by_rate: BTreeMap<u32, Vec<&Place<'_>>> = BTreeMap::new();
    for (place, mts) in &running {
        if mts + 1 < planned.0 {
            by_rate.entry(*mts).or_default().push(place);
        }
    }
    // A module more on a channel than planned slows it, and a wrong one slows it where its own rate is that low.
    let one_more = places.iter().any(|place| place.planned.is_none() && place.is_fitted());
    let slows = |finding: &Finding, mts: u32| match finding.kind {
        FindingKind::Unplanned | FindingKind::Exchanged => one_more,
        FindingKind::WrongModule | FindingKind::WrongSize | FindingKind::WrongKind => places.iter().any(|place| {
            finding.slot.as_ref() == Some(place.label())
                && place.report.and_then(|report| report.rated_mts).is_some_and(|rated| rated <= mts + 1)
        }),
        _ => false,
    };
    for (mts, slow) in by_rate {
        let culprit = findings.iter_mut().find(|finding| slows(finding, mts));
        if let Some(culprit) = culprit {
            culprit
                .next
                .push_str(&format!(" It also holds {} at {mts} MT/s in place of {planned}.", slots_word(slow.len())));
            continue;
        }
        let all = slow.len() == running.len();
        let labels = list(slow.iter().map(|place| place.label()));
        let whom = if all && slow.len() > 1 { "All modules".to_owned() } else { labels.clone() };
        let next = format!(
            "{whom} run at {mts} MT/s, planned {planned}. Look in the firmware's setup for a memory speed limit or a power \
             saving profile, and whether all modules of the channel are those of the plan."
        );
        findings.push(Finding {
            slot: (slow.len() == 1).then(|| slow[0].label().clone()),
            module: (slow.len() == 1).then(|| slow[0].planned.map(|p| short_name(p, slow[0].scanned))).flatten(),
            planned: Some(planned.to_string()),
            reported: Some(format!("{mts} MT/s in {labels}")),
            ..about(FindingKind::Slower, slow[0], Grave::Look, ("configured_mts", "configured speed"), next)
        });
    }
}

fn slots_word(count: usize) -> String {
    if count == 1 { "1 module".to_owned() } else { format!("{count} modules") }
}

/// Errors counted since boot.
fn counted(input: &Input<'_>, places: &[Place<'_>]) -> Vec<Finding> {
    let counts = input.snapshot.counts.iter().filter(|count| count.corrected > 0 || count.uncorrected > 0);
    counts
        .map(|count| {
            let mut named = places.iter().filter(|place| {
                let locator = place.report.and_then(|report| report.locator.as_deref()).unwrap_or_default();
                locator.trim() == count.locator.trim() || place.label().as_str() == count.locator.trim()
            });
            // A locator that two slots share names neither.
            let place = named.next().filter(|_| named.next().is_none());
            let grave = if count.uncorrected > 0 { Grave::Stop } else { Grave::Look };
            Finding {
                kind: FindingKind::ErrorsCounted,
                slot: place.map(|place| place.label().clone()),
                module: place.and_then(|place| place.planned.map(|planned: &PlanSlot| short_name(planned, place.scanned))),
                planned: Some("no errors".to_owned()),
                reported: Some(format!(
                    "{} corrected, {} uncorrected at {}",
                    count.corrected,
                    count.uncorrected,
                    shown(&count.locator)
                )),
                source: format!("{}, error counts", shown(&count.source)),
                grave,
                next: if count.uncorrected > 0 {
                    "Do not hand the machine back. Reseat the module, test the memory (soak), and run isolate if errors come \
                     again."
                        .to_owned()
                } else {
                    "Test the memory (soak) and compare the counts; if they grow, reseat the module and run isolate.".to_owned()
                },
            }
        })
        .collect()
}

/// Nodes of sockets that the plan fills alike and that differ by a module or more, where no finding on a slot explains it.
fn uneven_nodes(input: &Input<'_>, findings: &[Finding]) -> Option<Finding> {
    use FindingKind::{Slower, UnreadableIdentity};
    let explained =
        findings.iter().any(|finding| !matches!(finding.kind, Slower | UnreadableIdentity) && finding.slot.is_some());
    let short_of_slots = !input.snapshot.slots.is_empty()
        && findings.iter().any(|f| matches!(f.kind, FindingKind::ShortTotal | FindingKind::UnknownSlot));
    if explained || short_of_slots {
        return None;
    }
    let mut planned: BTreeMap<usize, u64> = BTreeMap::new();
    for at in input.plan.board.slots() {
        if let Some(slot) = input.plan.module_at(at.slot.label.as_str()) {
            *planned.entry(at.socket_index).or_default() += slot.module.spec.gib.mib();
        }
    }
    let first = planned.values().next()?;
    let nodes: Vec<u64> = input.snapshot.totals.nodes_kib.values().map(|kib| kib / 1024).collect();
    // With fewer or an odd number of nodes it is open which socket each belongs to.
    if planned.len() < 2
        || planned.values().any(|mib| mib != first)
        || nodes.is_empty()
        || !nodes.len().is_multiple_of(planned.len())
    {
        return None;
    }
    // Nodes are numbered by socket (from memory); several nodes a socket are added up.
    let sums: Vec<u64> = nodes.chunks(nodes.len() / planned.len()).map(|part| part.iter().sum()).collect();
    let (least, most) = (sums.iter().min()?, sums.iter().max()?);
    let smallest = input.plan.slot.iter().map(|slot| slot.module.spec.gib.mib()).min()?;
    // The kernel itself, and a crash kernel, come out of one node alone.
    let common = 2048 + 64 + 4096 + most / 50;
    // A node shows a little less than the modules behind it have.
    if most - least < (smallest - smallest / 16).max(common) {
        return None;
    }
    let shown: Vec<String> = sums.iter().map(|mib| format!("{:.1} GiB", *mib as f64 / 1024.0)).collect();
    Some(Finding {
        kind: FindingKind::Unbalanced,
        slot: None,
        module: None,
        planned: Some(format!("{} a socket", Size::from_mib(*first))),
        reported: Some(shown.join(", ")),
        source: "numa, MemTotal of each node".to_owned(),
        grave: Grave::Look,
        next: "The sockets have unequal memory though the plan fills them alike: compare the slots of both with the plan, and \
               look in the firmware's error log."
            .to_owned(),
    })
}

fn sort(findings: &mut [Finding], board: &Board) {
    let order: BTreeMap<&SlotLabel, usize> = board.slots().map(|at| (&at.slot.label, at.index)).collect();
    findings.sort_by_key(|finding| {
        let at = finding.slot.as_ref().and_then(|slot| order.get(slot)).copied();
        (finding.grave, at.is_none(), at, finding.kind)
    });
}
