//! Isolation from the first report to the verdict, against machines that are drawn wrong.

#![allow(clippy::unwrap_used)] // A test that cannot build its machine should stop there.

use slotwise::board::SlotLabel;
use slotwise::isolate::fault::{Fault, Mode};
use slotwise::isolate::rates::shipped;
use slotwise::isolate::{Answer, Seen, State, Step, answer, slips};
use slotwise::text::PROCESSOR;

#[path = "reference/machine.rs"]
mod machine;

use machine::{Machine, board, module};

/// Plays until the program has a verdict or no further trial.
fn isolate(faults: &[Fault], mode: Mode, shows: f64, spare: bool, seed: u64) -> (Answer, State, usize) {
    // Where the machine does not post every pair of faults is weighed: the smaller board, for the bench plays the larger one.
    let shape = if mode == Mode::Blind { board(1, 4, 2) } else { board(2, 4, 2) };
    let mut machine = Machine::new(&shape, faults, mode, shows, fastrand::Rng::with_seed(seed));
    let first = loop {
        let seen = machine.boot();
        if faults.is_empty() || seen != Seen::Slots(Vec::new()) {
            break seen;
        }
    };
    let fitted = machine.fitted();
    let rates = shipped("install").unwrap().unwrap();
    let mut state = State::new(&shape, &fitted, first, &rates).unwrap();
    if spare {
        state.add_spare(module(machine.serials.last().unwrap()));
    }
    let mut trials = 0;
    loop {
        let now = answer(&state);
        let Some(trial) = &now.trial else {
            // Processors are left to qualified people, whatever the verdict is.
            let said = now.verdict.as_ref().map_or(now.undecided.as_deref(), |verdict| Some(&verdict.because));
            let said = said.unwrap_or_default();
            assert!(!said.contains("processor") || said.contains(PROCESSOR), "{said}");
            return (now, state, trials);
        };
        trials += 1;
        assert!(
            trials < 60,
            "no end: {:?}, last {:?}",
            now.explanations,
            state.trials().iter().take(12).collect::<Vec<_>>()
        );
        machine.act(&trial.changes);
        let seen = machine.boot();
        let asked = trial.changes.clone();
        state.observe(&asked, asked.clone(), seen).unwrap();
    }
}

/// Draws of each case: a few, for thousands of them are played by the bench.
const RUNS: u64 = 4;

/// How often the verdict names what is wrong; what it named otherwise is shown.
fn rightly(faults: &[Fault], mode: Mode, spare: bool, what: &str) -> usize {
    // A machine that does not post takes the most boots, and each choice the longest.
    let runs = if mode == Mode::Blind { RUNS / 2 } else { RUNS };
    let (mut right, mut wrong, mut open) = (0u64, Vec::new(), 0);
    for seed in 0..runs {
        let (answer, _, _) = isolate(faults, mode, 1.0, spare, seed);
        match answer.verdict {
            Some(verdict) if verdict.what == what => right += 1,
            Some(verdict) => wrong.push((seed, verdict.what, verdict.which)),
            None => open += 1,
        }
    }
    assert!(right >= runs - 1, "{faults:?} {mode:?}: {right} right, {open} open, wrong {wrong:?}");
    wrong.len()
}

#[test]
fn each_single_fault_is_found_where_slots_are_named() {
    let wrong = [
        rightly(&[Fault::Seat(3)], Mode::Slot, false, "seating"),
        rightly(&[Fault::Module(3)], Mode::Slot, false, "module"),
        rightly(&[Fault::Slot(3)], Mode::Slot, false, "slot"),
        rightly(&[Fault::Channel(2)], Mode::Slot, false, "channel"),
        rightly(&[Fault::Socket(1)], Mode::Slot, false, "socket"),
        rightly(&[], Mode::Slot, false, "none"),
    ];
    assert_eq!(wrong, [0; 6]);
}

#[test]
fn each_single_fault_is_found_where_channels_are_dropped_whole() {
    let wrong = [
        rightly(&[Fault::Seat(3)], Mode::Channel, false, "seating"),
        rightly(&[Fault::Module(3)], Mode::Channel, false, "module"),
        rightly(&[Fault::Slot(3)], Mode::Channel, false, "channel"),
        rightly(&[Fault::Socket(1)], Mode::Channel, false, "socket"),
    ];
    assert_eq!(wrong, [0; 4]);
}

#[test]
fn each_single_fault_is_found_where_the_machine_does_not_post() {
    let wrong = [
        rightly(&[Fault::Seat(3)], Mode::Blind, false, "seating"),
        rightly(&[Fault::Module(3)], Mode::Blind, false, "module"),
        rightly(&[Fault::Slot(3)], Mode::Blind, false, "slot"),
        rightly(&[Fault::Channel(2)], Mode::Blind, false, "channel"),
        rightly(&[Fault::Socket(0)], Mode::Blind, false, "socket"),
    ];
    // A verdict at 99 % may be wrong; the bench tells how often.
    assert!(wrong.iter().sum::<usize>() <= 1, "{wrong:?}");
}

#[test]
fn a_channel_is_named_with_what_would_tell_its_slots_apart_and_nothing_that_could_not() {
    let because = |mode| {
        let verdict = isolate(&[Fault::Channel(2)], mode, 1.0, false, 0).0.verdict.unwrap();
        assert_eq!(verdict.what, "channel", "{mode:?}");
        verdict.because
    };
    let several = because(Mode::Channel);
    assert!(
        several.contains("Leaving its slots empty, the last one first, tells each but the first slot apart"),
        "{several}"
    );
    // Its first slot is filled whenever the channel is, so no start without it says anything.
    let blind = because(Mode::Blind);
    assert!(blind.contains("cannot be filled without its first slot") && !blind.contains("Leaving"), "{blind}");
}

#[test]
fn a_bad_spare_convicts_no_good_module() {
    for seed in 0..RUNS {
        let (answer, state, _) = isolate(&[Fault::Slot(3), Fault::Module(16)], Mode::Slot, 1.0, true, seed);
        if let Some(verdict) = &answer.verdict {
            assert!(verdict.what != "module" || verdict.which == "OSP00016", "seed {seed}: {verdict:?}");
        }
        for slip in slips(&state, "0").iter().filter(|s| s.convicted) {
            assert_eq!(slip.module.identity.serial.as_deref(), Some("OSP00016"));
        }
    }
}

#[test]
fn a_fault_that_comes_and_goes_convicts_no_good_module_and_comes_to_an_end() {
    let (mut right, mut all) = (0, 0);
    for (faults, what) in [
        (vec![Fault::Module(3)], "module"),
        (vec![Fault::Slot(3)], "slot"),
        (vec![Fault::Channel(2)], "channel"),
        (vec![Fault::Seat(3)], "seating"),
    ] {
        for seed in 0..3 {
            // Shown at two of three starts, where the rates assume 95 %.
            let (answer, state, trials) = isolate(&faults, Mode::Slot, 0.67, false, seed);
            assert!(trials < 60);
            for slip in slips(&state, "0").iter().filter(|slip| slip.convicted) {
                let serial = slip.module.identity.serial.as_deref();
                assert_eq!((what, serial), ("module", Some("OSP00003")), "seed {seed}: {:?}", answer.verdict);
            }
            all += 1;
            right += usize::from(answer.verdict.is_some_and(|verdict| verdict.what == what));
        }
    }
    assert!(right * 4 >= all * 3, "{right} of {all}");
}

#[test]
fn two_faults_give_no_confident_wrong_verdict() {
    let mut dice = fastrand::Rng::with_seed(7);
    let (mut wrong, mut named, runs) = (Vec::new(), 0, 30);
    for seed in 0..runs {
        let pick = |dice: &mut fastrand::Rng| match dice.u32(0..20) {
            0..=10 => Fault::Seat(dice.u16(0..16)),
            11..=14 => Fault::Module(dice.u16(0..16)),
            15 => Fault::Slot(dice.u16(0..16)),
            16 => Fault::Channel(dice.u16(0..8)),
            17 => Fault::Group(dice.u16(0..4)),
            _ => Fault::Socket(dice.u16(0..2)),
        };
        let faults = [pick(&mut dice), pick(&mut dice)];
        let (answer, state, trials) = isolate(&faults, Mode::Slot, 1.0, false, seed);
        let Some(verdict) = answer.verdict else { continue };
        named += 1;
        let told = |f: &Fault| match f {
            Fault::Seat(_) => "seating",
            Fault::Module(_) => "module",
            Fault::Slot(_) => "slot",
            Fault::Channel(_) => "channel",
            _ => "socket",
        };
        let kinds: Vec<&str> = faults.iter().map(told).collect();
        if !verdict.what.split(" and ").all(|w| kinds.contains(&w)) {
            wrong.push((seed, faults, verdict.what, verdict.which, trials, state.trials().len()));
        }
    }
    assert!(named > runs / 2, "{named} of {runs}: an isolation that names nothing proves nothing");
    assert!(wrong.is_empty(), "{} of {runs} wrong ({named} named): {wrong:#?}", wrong.len());
}

#[test]
fn a_trial_done_otherwise_than_asked_is_told_and_counts_as_done() {
    let shape = board(1, 4, 2);
    let labels: Vec<SlotLabel> = shape.slots().map(|s| s.slot.label.clone()).collect();
    let fitted: Vec<_> = labels.iter().cloned().zip((0..8).map(|n| module(&format!("OSP{n}")))).collect();
    let rates = shipped("service").unwrap().unwrap();
    let mut state = State::new(&shape, &fitted, Seen::Slots(vec![labels[1].clone()]), &rates).unwrap();
    let done = state
        .changes_from(
            &labels.iter().cloned().zip([0, 5, 2, 3, 4, 1, 6, 7].map(|n| format!("OSP{n}"))).collect::<Vec<_>>(),
        )
        .unwrap();
    state.observe(&[Step::Reseat(labels[1].clone())], done, Seen::Slots(vec![labels[5].clone()])).unwrap();
    let now = answer(&state);
    assert!(now.notes[0].contains("otherwise than asked"), "{:?}", now.notes);
    assert_eq!((now.explanations[0].what.as_str(), now.explanations[0].which.as_str()), ("module", "OSP1"));
    assert!(state.observe(&[], vec![Step::Reseat("Z9".into())], Seen::Slots(Vec::new())).is_err());
    assert_eq!(state.trials().len(), 1, "a refused report changes nothing");
}

#[test]
fn a_fault_that_went_away_with_a_swap_convicts_nobody() {
    let shape = board(1, 4, 2);
    let labels: Vec<SlotLabel> = shape.slots().map(|s| s.slot.label.clone()).collect();
    let fitted: Vec<_> = labels.iter().cloned().zip((0..8).map(|n| module(&format!("OSP{n}")))).collect();
    let rates = shipped("service").unwrap().unwrap();
    let mut state = State::new(&shape, &fitted, Seen::Slots(vec![labels[1].clone()]), &rates).unwrap();
    let swap = vec![Step::Swap(labels[1].clone(), labels[5].clone())];
    state.observe(&swap, swap.clone(), Seen::Slots(Vec::new())).unwrap();
    for _ in 0..12 {
        state.observe(&[], Vec::new(), Seen::Slots(Vec::new())).unwrap();
    }
    assert_eq!(answer(&state).verdict.map(|v| v.what).as_deref(), Some("seating"));
    assert!(slips(&state, "0").iter().all(|s| !s.convicted));
}

#[test]
fn pattern_tests_move_the_probabilities_and_corrected_errors_do_not() {
    let shape = board(1, 4, 2);
    let labels: Vec<SlotLabel> = shape.slots().map(|s| s.slot.label.clone()).collect();
    let fitted: Vec<_> = labels.iter().cloned().zip((0..8).map(|n| module(&format!("OSP{n}")))).collect();
    let rates = shipped("service").unwrap().unwrap();
    let begin = || {
        let mut state = State::new(&shape, &fitted, Seen::Slots(vec![labels[1].clone()]), &rates).unwrap();
        let swap = vec![Step::Swap(labels[1].clone(), labels[5].clone())];
        state.observe(&swap, swap.clone(), Seen::Slots(Vec::new())).unwrap();
        state
    };
    let module_chance = |state: &State| {
        let all = answer(state).explanations;
        let found = all.iter().find(|e| e.what == "module" && e.which == "OSP1");
        found.map_or(0.0, |e| e.probability.parse::<f64>().unwrap())
    };
    let plain = module_chance(&begin());
    // The module stands in slot 5 now; a failed test there speaks for it, corrected errors do not, however many.
    let finding = |corrected, pattern| slotwise::isolate::Finding {
        slot: labels[5].clone(),
        corrected,
        pattern_passed: pattern,
        stood: None,
    };
    for count in [1, 5_000] {
        let mut counted = begin();
        counted.observe_findings(&[finding(Some(count), None)]).unwrap();
        assert!((module_chance(&counted) - plain).abs() < 1e-9);
    }
    let mut failed = begin();
    failed.observe_findings(&[finding(None, Some(false))]).unwrap();
    let once = module_chance(&failed);
    assert!(once > plain + 0.05, "{plain} {once}");
    // The same sign again is no news.
    failed.observe_findings(&[finding(Some(9_000), Some(false))]).unwrap();
    assert!((module_chance(&failed) - once).abs() < 1e-9);
    assert!(answer(&failed).verdict.is_none());
    let mut passed = begin();
    passed.observe_findings(&[finding(None, Some(true))]).unwrap();
    assert!(module_chance(&passed) < plain, "{plain}");
    let unknown = slotwise::isolate::Finding { slot: "Z9".into(), ..finding(Some(5_000), None) };
    assert!(passed.observe_findings(&[unknown]).is_err());
}

#[test]
fn a_module_that_stood_with_a_latch_open_speaks_for_its_seating_and_convicts_nobody() {
    use slotwise::isolate::{Finding, Stood};
    let shape = board(1, 4, 2);
    let labels: Vec<SlotLabel> = shape.slots().map(|s| s.slot.label.clone()).collect();
    let fitted: Vec<_> = labels.iter().cloned().zip((0..8).map(|n| module(&format!("OSP{n}")))).collect();
    let rates = shipped("flat").unwrap().unwrap();
    let failing = Seen::Slots(vec![labels[1].clone()]);
    let begin = || State::new(&shape, &fitted, failing.clone(), &rates).unwrap();
    let odds = |state: &State| {
        let all = answer(state).explanations;
        let chance = |what: &str| all.iter().find(|e| e.what == what).unwrap().probability.parse::<f64>().unwrap();
        chance("seating") / chance("module")
    };
    let plain = odds(&begin());
    // By hand, the odds of a bad seating against a bad module: .6 / .02 = 30 times as high where it stood open, .4 / .98
    // where it stood level. Probabilities are told to three digits.
    for (stood, times) in [(Stood::Open, 30.0), (Stood::Level, 0.4 / 0.98)] {
        let mut state = begin();
        state.observe_findings(&[Finding::stood(labels[1].clone(), stood)]).unwrap();
        let once = odds(&state);
        assert!((once / plain / times - 1.0).abs() < 0.06, "{stood:?}: {plain} {once}");
        // It stands as it stood: looking again is no news.
        state.observe_findings(&[Finding::stood(labels[1].clone(), stood)]).unwrap();
        assert!((odds(&state) - once).abs() < 1e-9);
    }
    // Rates that say nothing of it do not weigh it: an old record comes to what it came to.
    let mut old = rates.clone();
    old.evidence.as_mut().unwrap().stood = None;
    let mut state = State::new(&shape, &fitted, failing.clone(), &old).unwrap();
    state.observe_findings(&[Finding::stood(labels[1].clone(), Stood::Open)]).unwrap();
    assert!((odds(&state) - plain).abs() < 1e-9);
    // Seated anew and well: the verdict says how it stood; so does the reason for the boot before it.
    let reseat = vec![Step::Reseat(labels[1].clone())];
    let open = [Finding::stood(labels[1].clone(), Stood::Open)];
    let mut state = begin();
    state.observe_findings(&open).unwrap();
    state.observe(&reseat, reseat.clone(), Seen::Slots(Vec::new())).unwrap();
    assert_eq!(state.trials()[0].found, open);
    let words = "before it was touched, the module of P0C0S1 stood with a latch open or its edge not level";
    let trial = answer(&state).trial.unwrap();
    assert!(trial.why.contains(words), "{}", trial.why);
    while let Some(trial) = answer(&state).trial {
        state.observe(&trial.changes, trial.changes.clone(), Seen::Slots(Vec::new())).unwrap();
    }
    let verdict = answer(&state).verdict.unwrap();
    assert_eq!((verdict.what.as_str(), verdict.which.as_str()), ("seating", "P0C0S1"));
    assert!(verdict.because.contains(&words[1..]), "{}", verdict.because);
    // A bad module that stood open as well is still found, and by its trouble following it.
    let mut state = begin();
    state.observe_findings(&open).unwrap();
    let mut at = labels[1].clone();
    while let Some(trial) = answer(&state).trial {
        assert!(state.trials().len() < 20);
        for step in &trial.changes {
            match step {
                Step::Swap(a, b) | Step::Move(a, b) if *a == at => at = b.clone(),
                Step::Swap(a, b) if *b == at => at = a.clone(),
                _ => {}
            }
        }
        state.observe(&trial.changes, trial.changes.clone(), Seen::Slots(vec![at.clone()])).unwrap();
    }
    let verdict = answer(&state).verdict.unwrap();
    assert_eq!((verdict.what.as_str(), verdict.which.as_str()), ("module", "OSP1"));
    assert!(verdict.because.contains("followed it"), "{}", verdict.because);
}

/// `-SLOT` is taken out, `SLOT=N` gets module `N`, `!` sets the settings back.
fn steps(words: &str) -> Vec<Step> {
    let step = |word: &str| match (word.strip_prefix('-'), word.split_once('=')) {
        (Some(slot), _) => Step::Remove(slot.into()),
        (None, Some((slot, n))) => Step::Substitute(slot.into(), format!("OSP{n:0>5}")),
        (None, None) => Step::ClearSettings(true),
    };
    words.split(' ').map(step).collect()
}

#[test]
fn where_no_set_tells_more_the_modules_go_back_and_the_search_comes_to_an_end() {
    let shape = board(2, 4, 2);
    let labels: Vec<SlotLabel> = shape.slots().map(|s| s.slot.label.clone()).collect();
    let fitted: Vec<_> = labels.iter().cloned().zip((0..16).map(|n| module(&format!("OSP{n:05}")))).collect();
    let mut rates = shipped("service").unwrap().unwrap();
    rates.report.shows.value = "1".to_owned();
    let mut state = State::new(&shape, &fitted, Seen::NoPost, &rates).unwrap();
    // A seating or a setting is left, and second faults among what is out; the settings were set back.
    for (done, starts) in [
        ("-P0C3S1 -P1C0S0 -P1C0S1 -P1C1S0 -P1C1S1 -P1C2S0 -P1C2S1 -P1C3S0 -P1C3S1", false),
        ("-P0C1S1 -P0C2S0 -P0C2S1 -P0C3S0", true),
        ("-P0C0S0 -P0C0S1 -P0C1S0 P0C1S0=5 P0C2S0=4", true),
        ("-P0C1S0 -P0C2S0 P0C3S0=3", true),
        ("-P0C3S0 P0C3S0=6", true),
        ("-P0C3S0 P0C1S0=2 P0C1S1=3 P0C2S0=4 P0C2S1=5", false),
        ("-P0C1S0 -P0C1S1 -P0C2S0 -P0C2S1 P0C2S0=2 P0C2S1=3", false),
        ("!", false),
        ("-P0C2S0 -P0C2S1 P0C2S0=4 P0C2S1=5", true),
        ("-P0C2S0 -P0C2S1 P0C1S0=2 P0C1S1=3", true),
    ] {
        let seen = if starts { Seen::Slots(Vec::new()) } else { Seen::NoPost };
        state.observe(&steps(done), steps(done), seen).unwrap();
    }
    let back = answer(&state).trial.unwrap();
    assert!(back.why.contains("nothing tells more with modules out"), "{}", back.why);
    state.observe(&back.changes, back.changes.clone(), Seen::Slots(Vec::new())).unwrap();
    let home: Vec<_> = state.fitted_now().map(|(label, module)| (label.clone(), module.clone())).collect();
    assert_eq!(home, fitted);
    let mut more = 0;
    let ended = loop {
        let now = answer(&state);
        let Some(trial) = now.trial else { break now };
        more += 1;
        assert!(more < 3, "{trial:?}");
        state.observe(&trial.changes, trial.changes.clone(), Seen::Slots(Vec::new())).unwrap();
    };
    assert_eq!(ended.verdict.map(|verdict| verdict.what).as_deref(), Some("seating or settings"));
}

/// The clause of a reason that is about an outcome: by what the start showed.
fn clause<'a>(why: &'a str, mode: Mode, seen: &Seen) -> Option<&'a str> {
    let (_, outcomes) = why.split_once(". ")?;
    let is_of = |clause: &&str| match seen {
        Seen::NoPost => clause.contains("does not start,"),
        Seen::Slots(slots) if slots.is_empty() => {
            ["is gone,", "all is well", " starts,"].iter().any(|word| clause.contains(word))
        }
        Seen::Slots(slots) if mode == Mode::Slot => slots.iter().all(|slot| clause.contains(slot.as_str())),
        Seen::Slots(slots) => clause.contains(slots[0].as_str()),
    };
    outcomes.split("; ").find(is_of)
}

#[test]
fn a_reason_is_two_sentences_and_what_it_says_of_an_outcome_is_what_then_is_believed() {
    let mut kinds = [0u32; 7];
    let (mut told, mut all) = (0, 0);
    for (faults, mode, spare) in [
        (vec![Fault::Module(3)], Mode::Slot, false),
        (vec![Fault::Seat(3)], Mode::Slot, false),
        (vec![Fault::Slot(3)], Mode::Slot, true),
        (vec![Fault::Setting(3)], Mode::Slot, false),
        (vec![Fault::Channel(1)], Mode::Slot, false),
        (vec![Fault::Module(3)], Mode::Channel, true),
        (vec![Fault::Slot(3)], Mode::Channel, false),
        (vec![Fault::Module(3)], Mode::Blind, true),
        (vec![Fault::Seat(2)], Mode::Blind, false),
    ] {
        let shape = board(2, 4, 2);
        let mut machine = Machine::new(&shape, &faults, mode, 0.9, fastrand::Rng::with_seed(2));
        let first = machine.boot();
        let rates = shipped("install").unwrap().unwrap();
        let mut state = State::new(&shape, &machine.fitted(), first, &rates).unwrap();
        if spare {
            state.add_spare(module(machine.serials.last().unwrap()));
        }
        for _ in 0..25 {
            let Some(trial) = answer(&state).trial else { break };
            let why = &trial.why;
            assert_eq!(why.matches(". ").count() + usize::from(why.ends_with('.')), 2, "two sentences: {why}");
            let change = slotwise::isolate::trial_words(&trial.changes);
            assert!(why.to_lowercase().starts_with(&change.to_lowercase()), "{change}: {why}");
            let kind = |step: &Step| match step {
                Step::Reseat(_) => 0,
                Step::Swap(..) => 1,
                Step::Move(..) => 2,
                Step::Remove(_) => 3,
                Step::Substitute(..) => 4,
                Step::ClearSettings(_) => 5,
            };
            kinds[trial.changes.first().map_or(6, kind)] += 1;
            machine.act(&trial.changes);
            let seen = machine.boot();
            state.observe(&trial.changes, trial.changes.clone(), seen.clone()).unwrap();
            all += 1;
            // A rare outcome is not told; what is told has to be so.
            if let Some(clause) = clause(why, mode, &seen) {
                told += 1;
                let leads = &answer(&state).explanations[0];
                let word = match leads.what.split(' ').next().unwrap() {
                    "settings" => "setting",
                    "socket" => "contacts",
                    other => other,
                };
                let region = clause.contains("in what ");
                let more = clause.contains("socket");
                assert!(clause.contains(word) || region || more, "{clause:?} was said, {leads:?} leads; {why}");
                if clause.contains("it is the module") && !clause.contains(" or the ") {
                    assert!(
                        leads.what == "module" && leads.probability.parse::<f64>().unwrap() >= 0.99,
                        "{why}: {leads:?}"
                    );
                }
            }
        }
    }
    // Seated anew, changed about, left out, settings cleared, untouched; which of the others come is the plan's choice.
    assert!([0, 1, 3, 5, 6].iter().all(|kind| kinds[*kind] > 0), "{kinds:?}");
    assert!(told * 10 >= all * 9, "{told} of {all}");
}

#[test]
fn the_reason_for_a_swap_tells_module_slot_and_seating_apart() {
    let shape = board(1, 4, 2);
    let labels: Vec<SlotLabel> = shape.slots().map(|s| s.slot.label.clone()).collect();
    let fitted: Vec<_> = labels.iter().cloned().zip((0..8).map(|n| module(&format!("OSP{n}")))).collect();
    let failing = Seen::Slots(vec![labels[1].clone()]);
    let mut state = State::new(&shape, &fitted, failing.clone(), &shipped("install").unwrap().unwrap()).unwrap();
    // It stays where it is until the modules of two slots are to change places.
    let (trial, one, other) = loop {
        let trial = slotwise::isolate::next_trial(&state).unwrap();
        if let [Step::Swap(one, other)] = trial.changes.as_slice() {
            break (trial.clone(), one.clone(), other.clone());
        }
        assert!(state.trials().len() < 5, "no swap comes: {trial:?}");
        state.observe(&trial.changes, trial.changes.clone(), failing.clone()).unwrap();
    };
    let why = &trial.why;
    let begins = format!("Let the modules of {one} and {other} change places. ");
    assert!(why.starts_with(&begins), "{why}");
    let moves = why.split("; ").find(|clause| clause.contains(&format!("moves to {other}, "))).unwrap();
    assert!(moves.contains("the module") && !moves.contains(" or "), "{why}");
    let stays = why.split("; ").find(|clause| clause.contains(&format!("stays at {one}, "))).unwrap();
    assert!(stays.contains("the slot") && !stays.contains("the module"), "{why}");
    assert!(why.contains("it was"), "{why}");
}

#[test]
fn how_the_machine_reports_is_said_and_what_speaks_against_it() {
    let shape = board(1, 4, 2);
    let labels: Vec<SlotLabel> = shape.slots().map(|s| s.slot.label.clone()).collect();
    let fitted: Vec<_> = labels.iter().cloned().zip((0..8).map(|n| module(&format!("OSP{n}")))).collect();
    let begin = |first| State::new(&shape, &fitted, first, &shipped("install").unwrap().unwrap()).unwrap();
    let one = Seen::Slots(vec![labels[1].clone()]);
    let whole = Seen::Slots(labels[2..4].to_vec());
    let named = begin(one.clone());
    // One of two modules of a channel was named, the other not.
    assert_eq!(answer(&named).reporting, "How this machine reports, inferred: it names the slot that fails.");
    let alone: Vec<_> = fitted.iter().step_by(2).cloned().collect();
    let unknown =
        State::new(&shape, &alone, Seen::Slots(vec![labels[2].clone()]), &shipped("install").unwrap().unwrap());
    let unknown = answer(&unknown.unwrap()).reporting;
    assert!(unknown.contains("or drops its whole channel, which no start has told apart yet"), "{unknown}");
    let mut dropped = begin(whole);
    assert!(answer(&dropped).reporting.contains("drops a whole channel"), "{}", answer(&dropped).reporting);
    // One slot of a channel of two is named: it does not drop whole channels after all.
    dropped.observe(&[], Vec::new(), one.clone()).unwrap();
    let now = answer(&dropped);
    assert!(now.reporting.contains("names the slot"), "{}", now.reporting);
    assert!(now.notes.iter().any(|note| note.contains("does not drop whole channels")), "{:?}", now.notes);
    let mut dark = begin(Seen::NoPost);
    assert!(answer(&dark).reporting.contains("does not start"), "{}", answer(&dark).reporting);
    dark.observe(&[], Vec::new(), one).unwrap();
    assert!(
        answer(&dark).reporting.contains("against it: slots were named at one start"),
        "{}",
        answer(&dark).reporting
    );
    let mut stated = begin(Seen::NoPost);
    stated.reports(Mode::Blind);
    assert!(answer(&stated).reporting.contains("stated:"), "{}", answer(&stated).reporting);
}

#[test]
fn a_second_fault_is_warned_of_where_it_is_likely_enough_to_act_on_and_nowhere_else() {
    let (plain, _, _) = isolate(&[Fault::Module(3)], Mode::Slot, 1.0, false, 1);
    let verdict = plain.verdict.unwrap();
    assert_eq!(verdict.what, "module");
    assert!(!verdict.because.contains("second fault"), "{verdict:?}");
    // Where the whole board fails alike, a second fault under the first shows in nothing.
    let (whole, state, _) = isolate(&[Fault::Socket(1)], Mode::Slot, 1.0, false, 1);
    let verdict = whole.verdict.unwrap();
    assert!(verdict.because.contains("second fault may hide behind it, probability 1."), "{verdict:?}");
    assert!(state.trials().len() < 3);
}
