//! Why a trial: what each outcome would tell, worked out from what every explanation predicts for the start after it.
//!
//! Two sentences: the change, then the outcomes with what each leaves. Nothing is said that the belief does not carry: an
//! outcome is worked through as if it had been reported, and what leads then is what it is said to tell.

use super::action::{Action, Arrangement};
use super::belief::{Belief, Kind};
use super::fault::{Class, Fault, Mode, unit_of};
use super::layout::{NOWHERE, Place};
use super::state::State;
use super::words::trial_words;
use crate::text::shown;

/// Outcomes likelier than this are told; the likeliest two always.
const TOLD: f64 = 0.02;

/// An outcome less likely than this is never told.
const NEVER: f64 = 0.001;

/// The most outcomes that are told: what is read in one go.
const MOST_OUTCOMES: usize = 4;

/// The most explanations that are named for one outcome.
const MOST_NAMED: usize = 3;

/// Explanations are named until they make up this share of what an outcome leaves; beyond it an outcome is not summed up by
/// them.
const SHARE: f64 = 0.9;

/// Two outcomes whose probabilities differ by less than this in all tell the same.
const SAME: f64 = 0.05;

/// Hypotheses lighter than this predict nothing worth a word.
const IGNORED: f64 = 1e-6;

/// One outcome of the start, and what it leaves.
struct Outcome {
    units: Vec<u16>,
    chance: f64,
    left: Vec<(Kind, f64)>,
    /// Where most of what is left lies, by what the trial does to it.
    lies: Option<Lies>,
}

/// What a trial does to the part that a fault lies in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lies {
    CameOut,
    GoesIn,
    StaysIn,
    IsOut,
}

impl Lies {
    const ALL: [Self; 4] = [Self::CameOut, Self::GoesIn, Self::StaysIn, Self::IsOut];

    const fn of(before: bool, after: bool) -> Self {
        match (before, after) {
            (true, false) => Self::CameOut,
            (false, true) => Self::GoesIn,
            (true, true) => Self::StaysIn,
            (false, false) => Self::IsOut,
        }
    }

    const fn words(self) -> &'static str {
        match self {
            Self::CameOut => "in what comes out",
            Self::GoesIn => "in what goes in",
            Self::StaysIn => "in what stays in",
            Self::IsOut => "in what is out already",
        }
    }
}

/// Why this change: two sentences. `because` says what the trial is for beside what its outcomes tell.
pub(super) fn why(state: &State, action: &Action, because: Option<&str>) -> String {
    let change = sentence(&trial_words(&state.steps_of(action)));
    let first = match because {
        Some(because) => format!("{change}: {because}."),
        None => format!("{change}."),
    };
    match told(state, action) {
        Some(outcomes) => format!("{first} {}.", sentence(&outcomes)),
        None => first,
    }
}

/// With a capital at its beginning, as a sentence has it.
pub(super) fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// The outcomes in words; `None` where no start is foreseen.
fn told(state: &State, action: &Action) -> Option<String> {
    let mut outcomes = outcomes(state, action);
    // Where every outcome leaves the same part, that part says nothing.
    if outcomes.iter().all(|outcome| outcome.lies == outcomes[0].lies) {
        outcomes.iter_mut().for_each(|outcome| outcome.lies = None);
    }
    let named: Vec<Kind> = outcomes.iter().flat_map(|outcome| leading(outcome).0).collect();
    let (mut clauses, mut subject): (Vec<String>, _) = (Vec::new(), None);
    let mut done = vec![false; outcomes.len()];
    for (n, outcome) in outcomes.iter().enumerate() {
        if done[n] {
            continue;
        }
        let alike: Vec<usize> =
            (n..outcomes.len()).filter(|o| !done[*o] && apart(outcome, &outcomes[*o]) < SAME).collect();
        alike.iter().for_each(|o| done[*o] = true);
        let mut seen: Vec<String> =
            alike.iter().map(|o| seen(state, action, &outcomes[*o].units, &mut subject)).collect();
        // Many slots are told by their number, which may be the same for several outcomes.
        seen.dedup();
        // Of several told as one, what the least sure of them carries.
        let weakest = alike.iter().map(|o| &outcomes[*o]).min_by(|a, b| leading(a).1.total_cmp(&leading(b).1));
        let tells = tells(state, weakest.unwrap_or(outcome), &named);
        clauses.push(match seen.as_slice() {
            [one] if alike.len() == 1 => format!("if {one}, {tells}"),
            several => format!("whether {}, {tells}: these tell the same", several.join(" or ")),
        });
    }
    (!clauses.is_empty()).then(|| clauses.join("; "))
}

/// The outcomes worth telling, likeliest first.
fn outcomes(state: &State, action: &Action) -> Vec<Outcome> {
    let model = &state.model;
    let mut belief = state.belief.clone();
    let before = belief.board.clone();
    belief.drop_below(IGNORED);
    belief.act(model, action);
    let outlook = belief.outlook(model, IGNORED);
    let mut all: Vec<(Vec<u16>, f64)> = outlook
        .outcomes()
        .map(|(mask, parts)| (outlook.reported(mask), parts.iter().map(|part| part.2).sum()))
        .filter(|(_, chance)| *chance >= NEVER)
        .collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    let all = all.into_iter().enumerate().filter(|(n, (_, chance))| *n < 2 || *chance >= TOLD);
    all.take(MOST_OUTCOMES)
        .map(|(_, (mut units, chance))| {
            let mut after = belief.clone();
            after.report(model, &units);
            units.sort_unstable();
            Outcome { left: after.by_kind(), lies: lies(state, &before, &after), units, chance }
        })
        .filter(|outcome| outcome.chance > 0.0)
        .collect()
}

/// Half the sum of the differences between two distributions.
fn apart(one: &Outcome, other: &Outcome) -> f64 {
    let of = |list: &[(Kind, f64)], kind: Kind| list.iter().find(|(k, _)| *k == kind).map_or(0.0, |(_, p)| *p);
    let here: f64 = one.left.iter().map(|(kind, p)| (p - of(&other.left, *kind)).abs()).sum();
    let there: f64 = other.left.iter().filter(|(kind, _)| of(&one.left, *kind) == 0.0).map(|(_, p)| p).sum();
    (here + there) / 2.0
}

/// The explanations that make up most of what an outcome leaves, and their share.
fn leading(outcome: &Outcome) -> (Vec<Kind>, f64) {
    let (mut kinds, mut share) = (Vec::new(), 0.0);
    for (kind, chance) in outcome.left.iter().take(MOST_NAMED) {
        if share >= SHARE {
            break;
        }
        kinds.push(*kind);
        share += chance;
    }
    (kinds, share)
}

/// Where most of the belief lies, by what the trial does to it; `None` where it is spread.
fn lies(state: &State, before: &Arrangement, after: &Belief) -> Option<Lies> {
    let layout = &state.model.layout;
    let place = |place: Place| Lies::of(before.at(place).is_some(), after.board.at(place).is_some());
    let channels = |channels: &[u16]| {
        let filled = |board: &Arrangement| {
            channels.iter().flat_map(|channel| layout.places(*channel)).any(|place| board.at(*place).is_some())
        };
        Lies::of(filled(before), filled(&after.board))
    };
    let fault = |fault: Fault| match fault {
        Fault::Seat(at) | Fault::Slot(at) | Fault::Setting(at) => place(at),
        Fault::Module(piece) => {
            let is_in = |board: &Arrangement| board.spots.get(usize::from(piece)).is_some_and(|spot| *spot != NOWHERE);
            Lies::of(is_in(before), is_in(&after.board))
        }
        Fault::Channel(channel) | Fault::Contact(channel) => channels(&[channel]),
        Fault::Group(group) => channels(layout.group(group)),
        Fault::Socket(socket) => channels(layout.channels(socket)),
    };
    let share = |here: Lies| -> f64 {
        after.hypotheses.iter().filter(|h| h.cause.faults().all(|f| fault(f) == here)).map(|h| h.weight).sum()
    };
    Lies::ALL.into_iter().find(|here| share(*here) >= SHARE)
}

/// What the start shows, as half a sentence. `named` is what the sentence before spoke of, which is then `it`.
fn seen(state: &State, action: &Action, units: &[u16], named: &mut Option<&'static str>) -> String {
    let mut it = |subject: &'static str| if named.replace(subject) == Some(subject) { "it" } else { subject };
    if state.model.mode == Mode::Blind {
        let verb = if units.is_empty() { "starts" } else { "does not start" };
        return format!("{} {verb}", it("the machine"));
    }
    let last = state.units(state.trials.last().map_or(&state.first, |trial| &trial.seen));
    if units.is_empty() {
        return if last.is_empty() { "all is well".to_owned() } else { format!("{} is gone", it("the trouble")) };
    }
    if units == last {
        return format!("{} stays at {}", it("the trouble"), at(state, units));
    }
    let mut board = state.belief.board.clone();
    action.iter().for_each(|change| board.apply(*change, &mut |_| {}));
    let unit = |place: Place| unit_of(&state.model.layout, state.model.mode, place);
    let failing = (0..state.labels.len() as Place).filter(|place| last.contains(&unit(*place)));
    let pieces = failing.filter_map(|place| state.belief.board.at(place));
    let spots = pieces.filter_map(|piece| board.spots.get(usize::from(piece)).copied().filter(|p| *p != NOWHERE));
    let mut moved: Vec<u16> = spots.map(unit).filter(|unit| !last.contains(unit)).collect();
    moved.sort_unstable();
    moved.dedup();
    if !last.is_empty() && moved == units {
        return format!("{} moves to {}", it("the trouble"), at(state, units));
    }
    *named = None;
    let verb = if units.len() == 1 { "fails" } else { "fail" };
    format!("{} {verb}", at(state, units))
}

/// Units as a technician knows them.
fn at(state: &State, units: &[u16]) -> String {
    const MOST: usize = 4;
    let layout = &state.model.layout;
    let label = |place: Place| state.labels.get(usize::from(place)).map(ToString::to_string).unwrap_or_default();
    match state.model.mode {
        Mode::Slot if units.len() > MOST => format!("{} slots", units.len()),
        Mode::Slot => and(&units.iter().map(|place| label(*place)).collect::<Vec<_>>(), "and"),
        _ => {
            let first = |channel: &u16| layout.places(*channel).first().map(|place| label(*place)).unwrap_or_default();
            let names: Vec<String> = units.iter().map(first).collect();
            match names.len() {
                1 => format!("the channel of {}", names[0]),
                2..=MOST => format!("the channels of {}", and(&names, "and")),
                n => format!("{n} channels"),
            }
        }
    }
}

/// What an outcome leaves, as half a sentence. `all` are the explanations named for any outcome: where two of a kind are among
/// them, each says which it is.
fn tells(state: &State, outcome: &Outcome, all: &[Kind]) -> String {
    let (kinds, share) = leading(outcome);
    let is = if outcome.units.is_empty() { "it was" } else { "it is" };
    if share < SHARE {
        if let Some(lies) = outcome.lies {
            return format!("{is} {}", lies.words());
        }
        let likeliest: Vec<String> = kinds.iter().take(1).map(|kind| name(state, *kind, all)).collect();
        let open = outcome.left.iter().filter(|(_, chance)| *chance >= 0.01).count();
        return format!("{open} explanations stay open, {} first", likeliest.join(""));
    }
    let names: Vec<String> = kinds.iter().map(|kind| name(state, *kind, all)).collect();
    let most = if share >= state.model.sure { "" } else { " most likely" };
    format!("{is}{most} {}", and(&names, "or"))
}

fn name(state: &State, kind: Kind, all: &[Kind]) -> String {
    let names: Vec<String> = kind.classes().map(|class| class_name(state, class, all)).collect();
    match names.as_slice() {
        [one, other] => format!("both {one} and {other}"),
        _ => names.concat(),
    }
}

fn class_name(state: &State, class: Class, all: &[Kind]) -> String {
    let layout = &state.model.layout;
    let same = |other: &Class| std::mem::discriminant(other) == std::mem::discriminant(&class) && *other != class;
    let which = all.iter().flat_map(|kind| kind.classes()).any(|other| same(&other));
    let label = |place: Place| state.labels.get(usize::from(place)).map(ToString::to_string).unwrap_or_default();
    let firsts = |channels: &[u16]| {
        let firsts = channels.iter().filter_map(|channel| layout.places(*channel).first());
        and(&firsts.map(|place| label(*place)).collect::<Vec<_>>(), "and")
    };
    let unit = |unit: u16| match state.model.mode {
        Mode::Blind => String::new(),
        _ if which => format!(" at {}", at(state, &[unit])),
        _ => String::new(),
    };
    match class {
        Class::Seat(at) if state.model.mode == Mode::Slot => format!("the seating{}", unit(at)),
        Class::Seat(at) => format!("a seating{}", unit(at)),
        Class::Module(piece) if which => format!("module {}", shown(&state.serial(piece))),
        Class::Module(_) => "the module".to_owned(),
        Class::Slot(place) if which || state.model.mode == Mode::Blind => format!("slot {}", label(place)),
        Class::Slot(_) => "the slot".to_owned(),
        Class::Path(channel) => {
            // Where nothing tells a slot of it from the channel, neither is said alone.
            let joined =
                layout.places(channel).iter().any(|place| Fault::Slot(*place).class(layout, state.model.mode) == class);
            match (joined, which) {
                (true, true) if state.model.mode == Mode::Blind => {
                    format!("the channel of {} or its first slot", firsts(&[channel]))
                }
                (true, false) if state.model.mode == Mode::Blind => "the channel or its first slot".to_owned(),
                (true, true) => format!("a slot of the channel of {} or that channel", firsts(&[channel])),
                (true, false) => "the slot or its channel".to_owned(),
                (false, true) => format!("the channel of {}", firsts(&[channel])),
                (false, false) => "the channel".to_owned(),
            }
        }
        Class::Group(group) => format!("the processor's contacts for {}", firsts(layout.group(group))),
        Class::Socket(socket) if which => format!("the whole socket of {}", firsts(&layout.channels(socket)[..1])),
        Class::Socket(_) => "the whole socket".to_owned(),
        Class::Setting(at) => format!("a setting{}", unit(at)),
    }
}

/// `A`, `A or B`, `A, B or C`.
fn and(names: &[String], last: &str) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., end] => format!("{} {last} {end}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::super::action::Change;
    use super::super::rates::shipped;
    use super::super::state::{Seen, Step};
    use super::*;
    use crate::board::{Board, SlotLabel};
    use crate::module::{Identity, Module, ModuleSpec};
    use crate::source::{Text, from_toml};
    use crate::units::Size;

    /// A Wren with all four slots filled, Q1 failing.
    fn wren() -> (State, Vec<SlotLabel>) {
        let text = include_str!("../../checklists/boards/wren.toml");
        let board: Board = from_toml(&Text { file: "wren.toml", bytes: text.as_bytes() }).unwrap();
        let labels: Vec<SlotLabel> = board.slots().map(|at| at.slot.label.clone()).collect();
        let spec =
            ModuleSpec { generation: None, kind: None, gib: Size::default(), ranks: None, width: None, mts: None };
        let module = |n: usize| {
            let identity = Identity { serial: Some(format!("OSP{n}")), ..Identity::default() };
            Module { spec: spec.clone(), identity }
        };
        let fitted: Vec<_> = labels.iter().cloned().zip((0..4).map(module)).collect();
        let first = Seen::Slots(vec![labels[0].clone()]);
        (State::new(&board, &fitted, first, &shipped("install").unwrap().unwrap()).unwrap(), labels)
    }

    #[test]
    fn outcomes_that_leave_the_same_are_told_as_one_and_as_sure_as_the_least_sure_of_them() {
        let (mut state, labels) = wren();
        let (here, there) = (labels[0].clone(), labels[2].clone());
        let swap = vec![Step::Swap(here.clone(), there.clone())];
        // It goes with the module, there and back, twice: nothing else is left.
        for n in 0..4 {
            let seen = if n % 2 == 0 { &there } else { &here };
            state.observe(&swap, swap.clone(), Seen::Slots(vec![seen.clone()])).unwrap();
        }
        let told = why(&state, &vec![Change::Reseat(0)], None);
        let expected = format!(
            "Seat the module of {here} anew. Whether the trouble stays at {here} or it is gone, it is the module: these tell the \
             same."
        );
        assert_eq!(told, expected);
    }

    #[test]
    fn what_a_spare_a_move_or_cleared_settings_would_tell_is_told_too() {
        let (mut state, labels) = wren();
        let identity = Identity { serial: Some("OSPX".to_owned()), ..Identity::default() };
        let spec = state.known[0].module.spec.clone();
        state.add_spare(Module { spec, identity });
        let reseat = vec![Step::Reseat(labels[0].clone())];
        state.observe(&reseat, reseat.clone(), Seen::Slots(vec![labels[0].clone()])).unwrap();
        let spare = why(&state, &vec![Change::Fit(0, 4)], None);
        assert!(spare.starts_with(&format!("Put module OSPX into {}. ", labels[0])), "{spare}");
        // Gone with it: the module or its seating; still there: neither of them.
        let gone = spare.split("; ").find(|clause| clause.contains("is gone")).unwrap();
        assert!(gone.contains("the module") && !gone.contains("the slot"), "{spare}");
        let stays = spare.split("; ").find(|clause| clause.contains("stays at")).unwrap();
        assert!(stays.contains("the slot") && !stays.contains("the module"), "{spare}");
        let cleared = why(&state, &vec![Change::ClearSettings], None);
        assert!(cleared.starts_with("Set the firmware's settings for memory back. "), "{cleared}");
        let taken = why(&state, &vec![Change::Remove(1)], None);
        assert!(taken.starts_with(&format!("Take the module of {} out. ", labels[1])), "{taken}");
    }
}
