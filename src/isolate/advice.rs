//! What follows from an isolation so far: the next trial, the explanations, the verdict.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::action::{Action, Change};
use super::belief::{Belief, Kind, Model};
use super::candidates::Means;
use super::choose::{Choice, Depth, choose, choose_near, choose_whole};
use super::doubt::doubting;
use super::evidence::Finding;
use super::fault::{Class, Fault, Mode, unit_of};
use super::layout::Piece;
use super::repeats::{ended, unless_repeated, untouched};
use super::starts::{first_slot_alone, never_together};
use super::state::{Seen, State, Step, position};
use super::why::{sentence, why};
use super::words::{mode_words, per_cent, stood_words};
use crate::text::{PROCESSOR, by_hand};

/// How far the next trial is looked ahead.
pub const DEPTH: Depth = Depth { steps: 1, width: [5, 4, 3, 3, 3, 3], floor: 1.0 / 400.0, work: 1_500_000.0 };

/// A module is convicted at a higher posterior than other causes are named: sending a good one back is the dearer error.
const CONVICTS: f64 = 0.998;

/// Starts with nothing changed that wait for two channels of a processor to fail at once: where each shows in seven of ten
/// starts, all of them miss that once in two hundred times.
const WAITS_TOGETHER: usize = 8;

/// A second fault this likely is warned of. One in a hundred: a verdict may itself be wrong as often ([`super::state::SURE`]),
/// so that a hidden second fault below it is the smaller of two risks, and a warning that stands on every verdict is read on
/// none. The start after the repair, which the job asks for in any case, shows what hides below it.
pub const SECOND_FAULT: f64 = 0.01;

/// Between the names of two faults, in `what` and in `which` alike.
pub const JOINED: &str = " and ";

/// The next thing to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Trial {
    /// None: boot again untouched.
    pub changes: Vec<Step>,
    /// What this trial takes, in whole minutes.
    pub minutes: u32,
    /// Why this one, in at most two sentences.
    pub why: String,
}

/// One explanation with its probability.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Explanation {
    /// `seating`, `module`, `slot`, `channel`, `socket`, `settings`; two joined by ` and `.
    pub what: String,
    /// Slot, serial, channel or socket; empty when it cannot be told which.
    pub which: String,
    /// A decimal number as text: `0.62`.
    pub probability: String,
}

/// What it turned out to be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Verdict {
    /// As an explanation's, or `none`, `rules`.
    pub what: String,
    pub which: String,
    pub probability: String,
    /// What carries it, and what it leaves open.
    pub because: String,
}

/// The whole answer for a script.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Answer {
    pub trial: Option<Trial>,
    pub explanations: Vec<Explanation>,
    pub verdict: Option<Verdict>,
    /// What is missing for a verdict, when there is neither a verdict nor a trial.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub undecided: Option<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    /// How the machine is believed to show a fault, and what speaks against it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub reporting: String,
}

/// A probability as a record and JSON have it: a decimal number as text, at most 0.9999. `per_cent` words it for people.
pub fn probability(chance: f64) -> String {
    let digits = if chance > 0.99 { format!("{:.4}", chance.min(0.9999)) } else { format!("{chance:.3}") };
    digits.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The trial, the explanations and the verdict together.
pub fn answer(state: &State) -> Answer {
    let verdict = verdict(state);
    let trial = if verdict.is_some() { None } else { next_trial(state) };
    let undecided = if verdict.is_none() && trial.is_none() { Some(missing(state)) } else { None };
    let (notes, reporting) = (state.notes().to_vec(), reporting(state));
    Answer { trial, explanations: explanations(state), verdict, undecided, notes, reporting }
}

/// How the machine is believed to show a fault: inferred from what was seen unless its owner said so, and it may be wrong.
fn reporting(state: &State) -> String {
    if nothing_seen(state) || !state.broken_rules.is_empty() {
        return String::new();
    }
    let all = std::iter::once(&state.first).chain(state.trials.iter().map(|trial| &trial.seen));
    let named = all.filter(|seen| matches!(seen, Seen::Slots(slots) if !slots.is_empty())).count();
    let against = match state.model.mode {
        Mode::Blind if named > 0 => {
            let starts = if named == 1 { "one start".to_owned() } else { format!("{named} starts") };
            format!("; against it: slots were named at {starts}, which counts as a start that failed")
        }
        Mode::Slot if !state.stated && state.model.layout.deepest() > 1 && !state.named_part_of_a_channel() => {
            ", or drops its whole channel, which no start has told apart yet".to_owned()
        }
        _ => String::new(),
    };
    let how = if state.stated { "stated" } else { "inferred" };
    format!("How this machine reports, {how}: {}{against}.", mode_words(state.model.mode))
}

/// All explanations that are likelier than one in a thousand, likeliest first. What a verdict names has the verdict's number: alone
/// or with a second fault beside it.
pub fn explanations(state: &State) -> Vec<Explanation> {
    if nothing_seen(state) {
        return Vec::new();
    }
    let all = state.belief.by_kind();
    let judged =
        settled(state).filter(|_| !state.contradicted).map(|(kind, _)| kind).filter(|kind| kind.second.is_none());
    let beside =
        |kind: &Kind| kind.second.is_some() && judged.is_some_and(|one| kind.classes().any(|c| c == one.first));
    all.iter()
        .filter(|(kind, chance)| *chance >= 0.001 && !beside(kind))
        .map(|(kind, chance)| {
            let (what, which) = named(state, *kind);
            let chance = if judged == Some(*kind) { chance.max(state.class_chance(kind.first)) } else { *chance };
            Explanation { what, which, probability: probability(chance) }
        })
        .collect()
}

fn named(state: &State, kind: Kind) -> (String, String) {
    let parts: Vec<(&str, String)> = kind.classes().map(|class| name(state, class)).collect();
    let join = |texts: Vec<String>| texts.join(JOINED);
    (join(parts.iter().map(|p| p.0.to_owned()).collect()), join(parts.into_iter().map(|p| p.1).collect()))
}

fn name(state: &State, class: Class) -> (&'static str, String) {
    let layout = &state.model.layout;
    let slots = |channels: &[u16]| {
        let places = channels.iter().flat_map(|c| layout.places(*c));
        places.map(|p| state.labels[usize::from(*p)].to_string()).collect::<Vec<_>>().join(" ")
    };
    let unit = |unit: u16| match state.model.mode {
        Mode::Slot => state.labels[usize::from(unit)].to_string(),
        Mode::Channel => slots(&[unit]),
        Mode::Blind => String::new(),
    };
    match class {
        Class::Seat(u) => ("seating", unit(u)),
        Class::Module(piece) => ("module", state.serial(piece)),
        Class::Slot(place) => ("slot", state.labels[usize::from(place)].to_string()),
        Class::Path(channel) => ("channel", slots(&[channel])),
        Class::Group(group) => ("socket", slots(layout.group(group))),
        Class::Socket(socket) => ("socket", slots(layout.channels(socket))),
        Class::Setting(u) => ("settings", unit(u)),
    }
}

fn nothing_seen(state: &State) -> bool {
    let quiet = |seen: &Seen| matches!(seen, Seen::Slots(labels) if labels.is_empty());
    quiet(&state.first) && state.trials.iter().all(|t| quiet(&t.seen))
}

/// Boots at the end of the isolation that did not show this unit.
fn clean_boots(state: &State, unit: u16) -> usize {
    state.trials.iter().rev().take_while(|t| !state.units(&t.seen).contains(&unit)).count()
}

/// The verdict, when the evidence carries one.
pub fn verdict(state: &State) -> Option<Verdict> {
    let make = |what: &str, which: String, chance: f64, because: String| {
        Some(Verdict { what: what.to_owned(), which, probability: probability(chance), because })
    };
    // Seen, and not worked out: no probability is shown of it.
    let certain = |what: &str, which: String, because: String| {
        Some(Verdict { what: what.to_owned(), which, probability: "1".to_owned(), because })
    };
    if !state.broken_rules.is_empty() {
        let because = "The modules fitted break a rule of the board.".to_owned();
        return certain("rules", state.broken_rules.join("; "), because);
    }
    if nothing_seen(state) {
        return certain("none", String::new(), "No start showed a module that does not work.".to_owned());
    }
    if state.contradicted {
        return None;
    }
    let Some((kind, chance)) = settled(state) else { return either(state) };
    // The number that was judged: alone or with a second fault beside it.
    let chance = if kind.second.is_none() { chance.max(state.class_chance(kind.first)) } else { chance };
    let (what, which) = named(state, kind);
    let mut because = kind.classes().map(|class| because(state, class)).collect::<Vec<_>>().join(" ");
    let second = second_fault(state, kind);
    if second >= SECOND_FAULT {
        let likeliest = likeliest_second(state, kind, second);
        because.push_str(&format!(
            " A second fault may hide behind it, probability {}{likeliest}: boot again once it is mended.",
            per_cent(second)
        ));
    }
    make(&what, which, chance, because)
}

/// Probability that something else is wrong beside what the verdict names. Where no two faults were weighed it is as before
/// anything was seen: a machine that does not post shows one fault at a time, whatever hides behind it.
fn second_fault(state: &State, kind: Kind) -> f64 {
    let beside =
        |other: &Kind| kind.second.is_none() && other.second.is_some() && other.classes().any(|c| c == kind.first);
    let weighed: f64 = state.belief.by_kind().iter().filter(|(other, _)| beside(other)).map(|(_, chance)| chance).sum();
    if state.weighs_two() { weighed } else { weighed.max(state.second) }
}

/// Which second fault it is likeliest to be, where one makes up most of them; else nothing.
fn likeliest_second(state: &State, kind: Kind, second: f64) -> String {
    let all = state.belief.by_kind();
    let beside = all.iter().find(|(other, _)| other.second.is_some() && other.classes().any(|c| c == kind.first));
    let Some((other, _)) = beside.filter(|(_, chance)| kind.second.is_none() && *chance >= second / 2.0) else {
        return String::new();
    };
    let (what, which) =
        other.classes().find(|class| *class != kind.first).map_or(("", String::new()), |c| name(state, c));
    format!(", most likely {}", format!("{what} {}", crate::text::shown(&which)).trim_end())
}

/// A seating or a setting, where all is well and it cannot be told any more which of the two it was.
fn either(state: &State) -> Option<Verdict> {
    let chance = state.seating_or_setting().filter(|_| state.well())?;
    let (kind, likeliest) = *state.belief.by_kind().first()?;
    let (what, which) = named(state, kind);
    Some(Verdict {
        what: "seating or settings".to_owned(),
        which,
        probability: probability(chance),
        because: format!(
            "Nothing fails any more. A seating put right and settings cleared both explain what was seen; {what} is likelier, \
             at {}. Neither can be shown again, and neither needs a part.",
            per_cent(likeliest)
        ),
    })
}

/// What the evidence carries: all that leads, or the part of it that is carried where a bad module stands where another
/// cause would have to be shown.
pub(super) fn settled(state: &State) -> Option<(Kind, f64)> {
    let (kind, chance) = state.leading().filter(|(_, chance)| *chance >= state.model.sure)?;
    if carried(state, kind) && state.firm(kind) {
        return Some((kind, chance));
    }
    kind.second?;
    // Another module that is named has its own evidence tried for first, as long as a change may bring it.
    let untried = |class| matches!(class, Class::Module(piece) if state.disabled_with(piece).is_some() && state.elsewhere(piece).is_some());
    if kind.classes().any(untried) {
        return None;
    }
    let mut parts = kind.classes().map(|class| (Kind { first: class, second: None }, state.class_chance(class)));
    parts.find(|(part, _)| matches!(part.first, Class::Module(_)) && carried(state, *part) && state.firm(*part))
}

/// What leads, once the probability alone would do for a verdict: before anything else is asked of the evidence.
pub fn likeliest(state: &State) -> Option<Explanation> {
    let (kind, chance) = state.leading().filter(|(_, chance)| *chance >= state.model.sure)?;
    let (what, which) = named(state, kind);
    Some(Explanation { what, which, probability: probability(chance) })
}

/// What a verdict may name, and which, where these faults are what is wrong: each, and what both cannot be told from.
pub fn named_as(state: &State, faults: &[Fault]) -> Vec<(String, String)> {
    let (layout, mode) = (&state.model.layout, state.model.mode);
    let both = match faults {
        [one, other] => one.together(*other, layout, mode),
        _ => None,
    };
    let named = faults.iter().copied().chain(both).map(|fault| name(state, fault.class(layout, mode)));
    named.map(|(what, which)| (what.to_owned(), which)).collect()
}

/// Whether the evidence carries what the probability says.
fn carried(state: &State, kind: Kind) -> bool {
    // A seating that was put right leaves nothing failing; what fails in the last boot has to be explained first.
    let seated = kind.classes().all(|class| matches!(class, Class::Seat(_)));
    if seated && state.trials.last().is_some_and(|last| !state.units(&last.seen).is_empty()) {
        return false;
    }
    kind.classes().all(|class| match class {
        Class::Module(piece) => {
            state.class_chance(class) >= CONVICTS.max(state.model.sure) && convicted(state, piece).is_some()
        }
        // A seating that was put right must hold once more.
        Class::Seat(unit) => clean_boots(state, unit) >= 2,
        // What several channels share has to have shown on several of them at once: slots that fail one at a time, each start
        // another, are no sign of it.
        Class::Group(_) | Class::Socket(_) => never_together(state, kind).is_none(),
        _ => true,
    })
}

/// What convicts a module, in words: its trouble followed it, or another module worked where it did not; and it failed where
/// no other bad module can have been the reason.
fn convicted(state: &State, piece: Piece) -> Option<String> {
    let followed = state.followed(piece);
    let evidence = if let [first, .., last] = followed.as_slice() {
        let label = |p: u16| state.labels[usize::from(p)].clone();
        Some(format!("The trouble followed it from {} to {}.", label(*first), label(*last)))
    } else {
        state.replaced(piece)
    };
    evidence.filter(|_| state.disabled_with(piece).is_none())
}

fn because(state: &State, class: Class) -> String {
    match class {
        Class::Seat(unit) => {
            let stayed = format!(
                "It went away when the module was seated anew and stayed away for {} boots.",
                clean_boots(state, unit)
            );
            match stood(state, |other| other == unit) {
                Some(stood) => format!("{} {}.", stayed, sentence(&stood)),
                None => stayed,
            }
        }
        Class::Module(piece) => convicted(state, piece).unwrap_or_default(),
        Class::Slot(_) => "It stayed with the slot whatever module was in it.".to_owned(),
        Class::Path(channel) if state.model.mode == Mode::Channel && first_slot_alone(state, channel) => {
            by_hand(&format!(
                "It stayed with the channel: its first slot, its trace or one processor contact; it failed with no other slot \
                 of it filled. The channel cannot be filled without its first slot, so no boot tells that slot apart: look \
                 into it. Moving the processor tells its contacts apart. {PROCESSOR}"
            ))
        }
        Class::Path(_) if state.model.mode == Mode::Channel => by_hand(&format!(
            "It stayed with the channel: a slot of it, its trace or one processor contact. Leaving its slots empty, the \
                 last one first, tells each but the first slot apart; moving the processor tells its contacts apart. \
                 {PROCESSOR}"
        )),
        Class::Path(_) if state.model.mode == Mode::Blind => by_hand(&format!(
            "It stayed with the channel: its first slot, its trace or one processor contact. The channel cannot be filled \
                 without its first slot, so no boot tells them apart; look into that slot and at the processor's contacts. \
                 {PROCESSOR}"
        )),
        Class::Path(_) => format!(
            "It stayed with the channel: its trace or one processor contact. Moving the processor to another socket tells \
             them apart. {PROCESSOR}"
        ),
        Class::Group(_) | Class::Socket(_) => {
            format!(
                "It shows on channels that share the processor's contacts; several of these channels failing by themselves \
                 would look the same. Before anything is replaced, the socket's contacts are looked at. {PROCESSOR}"
            )
        }
        Class::Setting(_) => "It went away when the settings were cleared.".to_owned(),
    }
}

/// The next trial; none when there is nothing more to learn.
pub fn next_trial(state: &State) -> Option<Trial> {
    due(state).and_then(|due| unless_repeated(state, due))
}

fn due(state: &State) -> Option<Trial> {
    if nothing_seen(state) || state.contradicted || !state.broken_rules.is_empty() {
        return None;
    }
    let (kind, chance) = state.leading()?;
    if chance >= state.model.sure {
        return if settled(state).is_some() { None } else { confirming(state, kind) };
    }
    if state.seating_or_setting().is_some() {
        let action = state.put_back();
        let because = "only a seating or a setting is left, and with all modules back in it must hold once more";
        return (!state.well()).then(|| trial(state, action, Some(because)));
    }
    let choice = planned(state, state.model.sure);
    if choice.minutes.is_finite() {
        return Some(trial(state, choice.action, None));
    }
    nothing_tells(state)
}

/// Where no change would tell more: with modules out, all go back, for what is left may not be told apart while they are out;
/// with all in and nothing but seatings to put right, they are seated anew.
fn nothing_tells(state: &State) -> Option<Trial> {
    if state.model.mode != Mode::Blind {
        return None;
    }
    let back = state.put_back();
    if !back.is_empty() {
        let because = "nothing tells more with modules out, so all go back to where they belong";
        return Some(trial(state, back, Some(because)));
    }
    let anew = state.all_anew();
    let because = "only a seating or a setting is left and it still fails, so a seating is not right yet";
    (state.needs_no_part().is_some() && !anew.is_empty()).then(|| trial(state, anew, Some(because)))
}

fn planned(state: &State, sure: f64) -> Choice {
    let mut model = state.model.clone();
    model.sure = sure;
    let means = Means { untouchable: [state.means.untouchable.clone(), state.worn()].concat(), ..state.means.clone() };
    if model.mode == Mode::Blind {
        let belief = singles(state, &model).unwrap_or_else(|| heaviest(state, &state.belief));
        return choose_whole(&model, &belief, &state.belongs(), &means, &state.costs);
    }
    match singles(state, &model) {
        Some(singles) => choose(&model, &singles, &means, &state.costs, DEPTH),
        None => choose_near(&model, &heaviest(state, &state.belief), &means, &state.costs),
    }
}

/// The trial that tells what leads from what else explains all, as if second faults were more frequent.
fn doubted(state: &State, kind: Kind) -> Choice {
    let means = Means { untouchable: [state.means.untouchable.clone(), state.worn()].concat(), ..state.means.clone() };
    let belief = heaviest(state, &state.doubts(kind));
    let model = doubting(&state.model, &belief);
    if model.mode == Mode::Blind {
        return choose_whole(&model, &belief, &state.belongs(), &means, &state.costs);
    }
    choose_near(&model, &belief, &means, &state.costs)
}

/// The likeliest causes alone: what a plan can weigh in time.
fn heaviest(state: &State, belief: &Belief) -> Belief {
    // Where the machine does not post more candidates are weighed, and the seatings of each cause with them.
    let most = if state.model.mode == Mode::Blind { 200 } else { 600 };
    let mut weights: Vec<f64> = belief.hypotheses.iter().map(|h| h.weight).collect();
    let mut heaviest = belief.clone();
    if weights.len() > most {
        weights.sort_by(|a, b| b.total_cmp(a));
        heaviest.keep(|h| h.weight > weights[most]);
    }
    heaviest
}

/// The belief to look far ahead with. Pairs of faults slow that down many times over, so they are planned for, one step
/// ahead, only when single faults do not explain what was seen or would be taken for settled; the verdict always counts them.
fn singles(state: &State, model: &Model) -> Option<Belief> {
    let mut singles = state.belief.clone();
    let mass: f64 = singles.hypotheses.iter().filter(|h| h.cause.second.is_none()).map(|h| h.weight).sum();
    singles.keep(|h| h.cause.second.is_none());
    (mass >= 0.5 && !singles.decided(model)).then_some(singles)
}

/// The verdict is likely enough; this trial is the one its evidence still lacks.
fn confirming(state: &State, kind: Kind) -> Option<Trial> {
    if carried(state, kind) {
        let choice = doubted(state, kind);
        let because = "one cause explains all that was seen, and so would two of another kind";
        return choice.minutes.is_finite().then(|| trial(state, choice.action, Some(because)));
    }
    if let Some(channels) = never_together(state, kind) {
        // Only a start can show it, and only where modules stand in two of them.
        let holds = |channel: &&u16| {
            state.model.layout.places(**channel).iter().any(|place| state.belief.board.at(*place).is_some())
        };
        let because =
            "contacts of a processor are told from single faults once one start shows two of their channels failing";
        let waits = untouched(state) < WAITS_TOGETHER && channels.iter().filter(holds).count() >= 2;
        return waits.then(|| trial(state, Action::new(), Some(because)));
    }
    let modules = kind.classes().filter_map(|class| match class {
        Class::Module(piece) => Some(piece),
        _ => None,
    });
    let lacking = modules.min_by_key(|piece| convicted(state, *piece).is_some());
    let shown = kind.classes().find_map(|class| match class {
        Class::Seat(unit) if clean_boots(state, unit) == 0 => Some(unit),
        _ => None,
    });
    let last = state.trials.last().map(|last| state.units(&last.seen)).unwrap_or_default();
    match lacking {
        None if shown.is_none() && !last.is_empty() => {
            let unit = |p: &u16| last.contains(&unit_of(&state.model.layout, state.model.mode, *p));
            let places = (0..state.labels.len() as u16).filter(|p| unit(p) && state.belief.board.at(*p).is_some());
            let action: Action = places.map(Change::Reseat).collect();
            if state.actions.last() == Some(&action) {
                // That was done and did not help.
                let choice = planned(state, CONVICTS.max(state.model.sure));
                return choice.minutes.is_finite().then(|| trial(state, choice.action, None));
            }
            let because =
                "what fails now is not what failed at first, so the last handling may have spoiled its seating";
            Some(trial(state, action, Some(because)))
        }
        None if shown.is_some() => {
            let unit = |p: &u16| unit_of(&state.model.layout, state.model.mode, *p) == shown.unwrap_or_default();
            let places = (0..state.labels.len() as u16).filter(|p| unit(p) && state.belief.board.at(*p).is_some());
            let because = "a bad seating explains all that was seen, and it still shows, so look at both latches";
            Some(trial(state, places.map(Change::Reseat).collect(), Some(because)))
        }
        None => Some(trial(state, Action::new(), Some("a seating counts as put right only when it holds"))),
        Some(piece) => {
            let module = format!("module {} goes back to its maker only", crate::text::shown(&state.serial(piece)));
            if convicted(state, piece).is_none() {
                let because = match state.disabled_with(piece) {
                    Some(other) => disabled_with_words(state, piece, other),
                    None => format!("{module} once its trouble has followed it"),
                };
                return Some(trial(state, state.elsewhere(piece)?, Some(&because)));
            }
            let sure = CONVICTS.max(state.model.sure);
            let choice = planned(state, sure);
            let action = if choice.minutes.is_finite() { choice.action } else { state.elsewhere(piece)? };
            Some(trial(state, action, Some(&format!("{module} at a probability of {}", per_cent(sure)))))
        }
    }
}

pub(super) fn trial(state: &State, action: Action, because: Option<&str>) -> Trial {
    let minutes = state.costs.of(&action).ceil() as u32;
    // What was seen of a seating is told as long as a bad seating there could still be it.
    let seats = |unit: u16| state.class_chance(Class::Seat(unit)) >= 0.01;
    let stood = stood(state, seats).map(|stood| format!("{stood}, which speaks for the seating"));
    let because: Vec<&str> = stood.as_deref().into_iter().chain(because).collect();
    let because = Some(because.join("; ")).filter(|because| !because.is_empty());
    Trial { changes: state.steps_of(&action), minutes, why: why(state, &action, because.as_deref()) }
}

/// How the modules that did not stand level stood before they were touched, in the units that are `wanted`.
fn stood(state: &State, wanted: impl Fn(u16) -> bool) -> Option<String> {
    state.evidence.as_ref()?.stood?;
    let unit = |finding: &Finding| {
        let place = position(&state.labels, &finding.slot).ok()?;
        Some(unit_of(&state.model.layout, state.model.mode, place))
    };
    let found = state.findings.iter().map(|(_, finding)| finding);
    let found: Vec<Finding> = found.filter(|finding| unit(finding).is_some_and(&wanted)).cloned().collect();
    stood_words(&found)
}

/// What a module lacks that failed together with another.
fn disabled_with_words(state: &State, piece: Piece, other: Piece) -> String {
    let serial = |piece| crate::text::shown(&state.serial(piece)).to_string();
    let needed = if state.followed(piece).len() < 2 { "once" } else { "in two slots" };
    format!(
        "module {} is not shown to fail {needed} without module {}, and firmware that disables slots in pairs shows the same with \
         one bad module",
        serial(piece),
        serial(other)
    )
}

/// What would be needed for a verdict.
fn missing(state: &State) -> String {
    if state.contradicted {
        return "Undecided: the reports contradict each other. Check which module is in which slot by scanning all of them, \
                then begin again from a new boot. Firmware that disables slots in pairs can show such reports too."
            .to_owned();
    }
    if let Some((kind, chance)) =
        state.leading().filter(|(kind, chance)| *chance >= state.model.sure && never_together(state, *kind).is_some())
    {
        let (what, which) = named(state, kind);
        return format!(
            "Undecided: {what} {which} explains what was seen, probability {}, but no start showed two of its channels failing at \
             once, so faults of single channels are not ruled out. No module goes back on it; the processor's contacts are \
             next. {PROCESSOR}",
            per_cent(chance)
        );
    }
    let modules = state.leading().filter(|(_, chance)| *chance >= state.model.sure).map(|(kind, _)| kind);
    let shared = modules.iter().flat_map(|kind| kind.classes()).find_map(|class| match class {
        Class::Module(piece) => Some((piece, state.disabled_with(piece)?)),
        _ => None,
    });
    if let Some((piece, other)) = shared {
        return format!(
            "Undecided: {}. No allowed change shows one without the other, so neither module is returned on this. Replace one \
             of them with a known-good spare and start the machine.",
            disabled_with_words(state, piece, other)
        );
    }
    let apart =
        "Undecided: no allowed change tells the remaining explanations apart. A known-good spare or a free slot would.";
    ended(state).unwrap_or_else(|| apart.to_owned())
}

impl State {
    /// Slots that have seen the insertions they are made for.
    fn worn(&self) -> Vec<u16> {
        let worn = |p: &u16| f64::from(self.insertions[usize::from(*p)]) >= self.stands;
        (0..self.labels.len() as u16).filter(worn).collect()
    }

    /// Puts the module into another unit.
    fn elsewhere(&self, piece: Piece) -> Option<Action> {
        let from = *self.belief.board.spots.get(usize::from(piece))?;
        let tried = self.followed(piece);
        // Where another may be the reason: into a unit that worked while the other failed.
        let other = self.disabled_with(piece);
        let start = self.starts().pop();
        let works = |p: u16| {
            let unit = unit_of(&self.model.layout, self.model.mode, p);
            let own = other.is_some_and(|other| self.belief.board.at(p) == Some(other));
            other.is_none() || !own && start.as_ref().is_some_and(|(board, seen)| self.worked(board, seen, unit))
        };
        let allowed = |change: &Change| {
            let means = &self.means;
            means.may(*change) && means.house.allows(&self.model.layout, &self.belief.board, &vec![*change])
        };
        if from == super::layout::NOWHERE {
            // Out of the machine: into a place it was not reported in, an empty one first.
            let mut places: Vec<u16> =
                (0..self.labels.len() as u16).filter(|p| !tried.contains(p) && works(*p)).collect();
            places.sort_by_key(|p| (self.belief.board.at(*p).is_some(), *p));
            return places.into_iter().map(|p| Change::Fit(p, piece)).find(allowed).map(|change| vec![change]);
        }
        let unit = |p: u16| super::fault::unit_of(&self.model.layout, self.model.mode, p);
        let blind = self.model.mode == Mode::Blind;
        let free = |p: &u16| {
            *p != from
                && (blind || unit(*p) != unit(from))
                && !tried.contains(p)
                && !self.means.untouchable.contains(p)
                && works(*p)
        };
        let places: Vec<u16> = (0..self.labels.len() as u16).filter(free).collect();
        let alike = |p: &u16| {
            let other = self.belief.board.at(*p)?;
            let same = self.means.alike.get(usize::from(piece)) == self.means.alike.get(usize::from(other));
            same.then_some(Change::Swap(from, *p))
        };
        let empty = |p: &u16| self.belief.board.at(*p).is_none().then_some(Change::Move(from, *p));
        let swap = places.iter().filter_map(alike).find(allowed);
        swap.or_else(|| places.iter().filter_map(empty).find(allowed)).map(|change| vec![change])
    }

    /// Another module worked in a place where this one was reported, and this one was reported nowhere it was not.
    fn replaced(&self, piece: Piece) -> Option<String> {
        let place = *self.followed(piece).first()?;
        let last = self.trials.last()?;
        let other = self.belief.board.at(place).filter(|o| *o != piece)?;
        let unit = super::fault::unit_of(&self.model.layout, self.model.mode, place);
        if self.units(&last.seen).contains(&unit) || !self.known.get(usize::from(other))?.spare {
            return None;
        }
        let (serial, label) = (self.serial(other), self.labels[usize::from(place)].clone());
        Some(format!("Known-good module {} works in {label}, where it failed.", crate::text::shown(&serial)))
    }
}
