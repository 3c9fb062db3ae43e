//! The exit codes, all of them.

/// How a run ended. The numbers are part of the interface; 65 and above are those of sysexits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// All as planned.
    Done,
    /// The work was done and there are findings.
    Findings,
    /// Wrong usage.
    Usage,
    /// Paused, to be resumed.
    Paused,
    /// Bad input data.
    BadData,
    /// An input is missing.
    NoInput,
    /// A file cannot be created.
    CannotCreate,
    /// Reading or writing failed.
    Io,
    /// No permission.
    NoPermission,
}

impl Exit {
    /// The number the shell sees.
    pub const fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Findings => 1,
            Self::Usage => 2,
            Self::Paused => 3,
            Self::BadData => 65,
            Self::NoInput => 66,
            Self::CannotCreate => 73,
            Self::Io => 74,
            Self::NoPermission => 77,
        }
    }
}

/// The code that fits an I/O error on an input.
pub fn for_reading(error: &std::io::Error) -> Exit {
    match error.kind() {
        std::io::ErrorKind::NotFound => Exit::NoInput,
        std::io::ErrorKind::PermissionDenied => Exit::NoPermission,
        // What is there is not a file.
        std::io::ErrorKind::InvalidInput => Exit::BadData,
        _ => Exit::Io,
    }
}

/// The code that fits an I/O error on an output.
pub fn for_writing(error: &std::io::Error) -> Exit {
    match error.kind() {
        std::io::ErrorKind::PermissionDenied => Exit::NoPermission,
        std::io::ErrorKind::NotFound
        | std::io::ErrorKind::AlreadyExists
        | std::io::ErrorKind::ReadOnlyFilesystem
        | std::io::ErrorKind::NotADirectory => Exit::CannotCreate,
        _ => Exit::Io,
    }
}
