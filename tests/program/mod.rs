//! The real program in a folder of its own, and a technician who knows the right answers.
#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "each test binary uses its own part of it, and a check that cannot go on has failed"
)]

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use slotwise::checklist::{Checklist, Evidence, Expected, STOCK_PROCEDURE, ScanOf, Site, Step, Steps, expand};
use slotwise::machine::{Boot, Fault, Machine};
use slotwise::plan::{self, Plan};
use slotwise::record::Job;
use slotwise::record::read;
use slotwise::runner::{all_steps, doubtful};
use slotwise::source::{Text, from_toml};

/// The chassis tag of the practice order's only unit.
pub const UNIT: &str = "LF-HRN-0137";
/// Who works.
pub const TECHNICIAN: &str = "kim";

/// A site without waits.
pub const SITE: &str = "format = \"slotwise-site/1\"\n[[limit]]\nname = \"wait-after-cords\"\nvalue = \"0\"\nunit = \"s\"\nsource = \"no cords in a test\"\n";

/// A folder with the practice plan, a site file without waits, and the program to run in it.
pub struct Bench {
    folder: tempfile::TempDir,
}

/// What a run left.
pub struct Ran {
    pub code: i32,
    pub stdout: String,
    pub stderr: String,
}

impl Bench {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let bench = Self { folder };
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        for (from, to) in [
            ("checklists/practice/plan.toml", "practice/plan.toml"),
            ("checklists/practice/order.toml", "practice/order.toml"),
            ("checklists/boards/heron.toml", "boards/heron.toml"),
        ] {
            let to = bench.path(to);
            fs::create_dir_all(to.parent().unwrap()).unwrap();
            fs::copy(root.join(from), to).unwrap();
        }
        bench.file("site.toml", SITE);
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn file(&self, name: &str, text: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        fs::write(&path, text).unwrap();
        path
    }

    /// The practice plan.
    pub fn plan(&self) -> Plan {
        let path = self.path("practice/plan.toml");
        let bytes = fs::read(&path).unwrap();
        let folder = path.parent().unwrap();
        plan::load(&Text { file: "plan.toml", bytes: &bytes }, &mut |name| fs::read(folder.join(name))).unwrap()
    }

    /// The steps of a new job.
    pub fn steps(&self) -> Steps {
        let checklist: Checklist =
            from_toml(&Text { file: "install.toml", bytes: STOCK_PROCEDURE.as_bytes() }).unwrap();
        let site: Site = from_toml(&Text { file: "site.toml", bytes: SITE.as_bytes() }).unwrap();
        expand(&checklist, &self.plan(), UNIT, Some(&site)).unwrap()
    }

    /// Writes the tree of a machine that holds what the plan says, with a fault; boot `boot`.
    pub fn machine(&self, name: &str, fault: Fault, boot: u32) -> PathBuf {
        let mut machine = Machine::as_planned(&self.plan(), 7).with_fault(fault);
        machine.set_boots(boot);
        let Boot::Up(tree) = machine.report() else { panic!("the machine is dark") };
        let path = self.path(name);
        tree.write_to(&path).unwrap();
        path
    }

    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_slotwise"));
        command.args(args).current_dir(self.folder.path()).env_clear().env("LANG", "C");
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    pub fn start(&self, args: &[&str], input: &[u8]) -> Child {
        let mut child = self.command(args).spawn().unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let input = input.to_vec();
        // A program that ends early closes the pipe; that is its right.
        std::thread::spawn(move || {
            let _ = stdin.write_all(&input);
        });
        child
    }

    pub fn run(&self, args: &[&str], input: &[u8]) -> Ran {
        Ran::of(self.start(args, input).wait_with_output().unwrap())
    }

    /// Runs `install` on the practice plan with these input lines.
    pub fn install(&self, lines: &[String]) -> Ran {
        self.run(&Self::install_args(), joined(lines).as_bytes())
    }

    pub fn install_args() -> [&'static str; 7] {
        ["install", "practice/plan.toml", "--site", "site.toml", "--technician", TECHNICIAN, "--plain"]
    }

    /// The only record.
    pub fn record(&self) -> PathBuf {
        let mut found: Vec<PathBuf> = fs::read_dir(self.path("records"))
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.extension().is_some_and(|extension| extension == "jsonl"))
            .collect();
        assert_eq!(found.len(), 1, "{found:?}");
        found.remove(0)
    }

    /// The job as its record tells it.
    pub fn job(&self) -> Job {
        read::job(&self.record()).unwrap().job
    }

    pub fn resume(&self, lines: &[String]) -> Ran {
        self.run(&["resume", self.record().to_str().unwrap(), "--plain"], joined(lines).as_bytes())
    }
}

impl Ran {
    fn of(output: Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Fails unless stderr holds each of `texts`.
    pub fn says(&self, texts: &[&str]) {
        for text in texts {
            assert!(self.stderr.contains(text), "nothing says {text:?} in:\n{}", tail(&self.stderr));
        }
    }

    /// Fails unless it ended with `code`.
    #[track_caller]
    pub fn ends(&self, code: i32) {
        assert_eq!(self.code, code, "{}\n{}", self.stdout, tail(&self.stderr));
    }
}

/// The command with signals as env(1)'s option sets them: tests run in the background or under nohup(1) hand on that some
/// are ignored, and the program keeps to that.
pub fn with_signals(option: &str, command: &Command) -> Command {
    let mut with = Command::new("env");
    with.arg(option).arg(command.get_program()).args(command.get_args()).env_clear();
    if let Some(folder) = command.get_current_dir() {
        with.current_dir(folder);
    }
    with.envs(command.get_envs().filter_map(|(name, value)| Some((name, value?))));
    with
}

/// As a terminal's shell starts a program.
pub fn heeding(command: &Command) -> Command {
    with_signals("--default-signal=HUP,INT,TERM", command)
}

fn tail(text: &str) -> String {
    let lines: Vec<&str> = text.lines().collect();
    lines[lines.len().saturating_sub(60)..].join("\n")
}

pub fn joined(lines: &[String]) -> String {
    lines.iter().map(|line| format!("{line}\n")).collect()
}

/// What a technician types at a step who did it right; `report` is the path of the machine's tree. A wait takes nothing.
pub fn right(step: &Step, report: &str) -> Option<String> {
    Some(match &step.evidence {
        Evidence::Confirm { state } if step.critical || step.warns => state.clone(),
        Evidence::Confirm { .. } => "1".to_owned(),
        Evidence::Word { word, .. } => word.clone(),
        Evidence::Reading { .. } => "1.2".to_owned(),
        Evidence::Scan { expected: Expected::Exactly(text), .. } => text.clone(),
        Evidence::Scan { of, .. } => panic!("the practice plan knows every label: {of:?}"),
        Evidence::Count { expected } => expected.to_string(),
        Evidence::Tally | Evidence::TallyBack { .. } => "2".to_owned(),
        Evidence::Choice { good, .. } => good[0].clone(),
        Evidence::Text { .. } => "fine".to_owned(),
        Evidence::Time { .. } => return None,
        Evidence::Snapshot => report.to_owned(),
        Evidence::Photo => panic!("the stock procedure wants no picture"),
    })
}

/// The lines for all steps of `steps`, and the sign-off.
pub fn whole(steps: &Steps, report: &str) -> Vec<String> {
    let mut lines: Vec<String> = steps.iter().filter_map(|(_, _, step)| right(step, report)).collect();
    lines.push(TECHNICIAN.to_owned());
    lines
}

/// The lines that finish a job from where its record stands, what is checked once more included.
pub fn rest(job: &Job, report: &str) -> Vec<String> {
    let steps = all_steps(job).unwrap();
    let again = doubtful(&steps, job);
    let mut lines: Vec<String> = steps
        .iter()
        .filter(|(_, _, step)| again.contains(&step.id))
        .chain(steps.iter().filter(|(_, _, step)| job.answer(&step.id).is_none()))
        .filter_map(|(_, _, step)| right(step, report))
        .collect();
    lines.push(TECHNICIAN.to_owned());
    lines
}

/// The place of a step's line among those of [`whole`].
pub fn line_of(steps: &Steps, id: &str) -> usize {
    steps
        .iter()
        .filter(|(_, _, step)| !matches!(step.evidence, Evidence::Time { .. }))
        .position(|(_, _, step)| step.id.0 == id)
        .unwrap()
}

/// The first step of `steps` that asks for this scan, and its place among the lines of [`whole`].
pub fn first_scan(steps: &Steps, of: ScanOf) -> usize {
    let asked = |step: &Step| !matches!(step.evidence, Evidence::Time { .. });
    steps
        .iter()
        .filter(|(_, _, step)| asked(step))
        .position(|(_, _, step)| matches!(&step.evidence, Evidence::Scan { of: it, .. } if *it == of))
        .unwrap()
}
