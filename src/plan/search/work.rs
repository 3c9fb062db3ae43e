//! How much work a search may do before it stops and says so.

/// A budget of steps and, through the caller, of time. The search knows no clock of its own.
pub struct Work<'a> {
    steps: u64,
    kept: u64,
    out: bool,
    most_steps: u64,
    /// The limit of the whole of what is done now.
    whole: u64,
    most_kept: u64,
    stop: &'a mut dyn FnMut() -> bool,
}

impl std::fmt::Debug for Work<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Work").field("steps", &self.steps).field("out", &self.out).finish_non_exhaustive()
    }
}

impl<'a> Work<'a> {
    /// `stop` says when the caller's time is up; it is asked every few thousand steps.
    pub fn new(stop: &'a mut dyn FnMut() -> bool) -> Self {
        Self { steps: 0, kept: 0, out: false, most_steps: u64::MAX, whole: u64::MAX, most_kept: 150_000, stop }
    }

    /// The same clock with at most this many more steps for all that comes.
    pub fn within(&mut self, steps: u64) {
        self.whole = self.steps.saturating_add(steps);
        self.again();
    }

    /// At most this many more steps for the part that comes, until [`Work::again`].
    pub fn limit(&mut self, steps: u64) {
        self.most_steps = self.steps.saturating_add(steps).min(self.whole);
    }

    /// One step; false when the work is used up.
    pub fn step(&mut self) -> bool {
        self.steps += 1;
        if self.steps > self.most_steps || (self.steps.is_multiple_of(4096) && (self.stop)()) {
            self.out = true;
        }
        !self.out
    }

    /// Starts counting kept arrangements anew.
    pub fn fresh(&mut self) {
        self.kept = 0;
    }

    /// One more arrangement kept in memory; false when there are too many.
    pub fn keep(&mut self) -> bool {
        self.kept += 1;
        if self.kept > self.most_kept {
            self.out = true;
        }
        !self.out
    }

    /// `Some` while there is work left.
    pub fn left(&self) -> Option<()> {
        (!self.out).then_some(())
    }

    /// Takes up again after a part was cut short.
    pub fn again(&mut self) {
        self.out = (self.stop)() || self.steps > self.whole;
        self.most_steps = self.whole;
    }

    /// Steps done.
    pub fn steps(&self) -> u64 {
        self.steps
    }
}
