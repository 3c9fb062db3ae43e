//! How anyone checks a signature without this program.

use std::path::{Path, PathBuf};

use chrono::{DateTime, FixedOffset, Utc};
use serde::{Serialize, Serializer};

use super::Against;
use crate::commands::job::{quoted, quoted_text};
use crate::record::sign::NAMESPACE;

/// What the lines are made of, when somebody asks for them: an audit of many records shows none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recipe {
    record: PathBuf,
    signers: Option<PathBuf>,
    revoked: Option<PathBuf>,
    name: String,
    declared: u64,
    at: DateTime<FixedOffset>,
}

impl Recipe {
    /// For the signature that seals line `declared` of a record.
    pub fn new(record: &Path, against: Option<&Against>, name: &str, declared: u64, at: DateTime<FixedOffset>) -> Self {
        Self {
            record: record.to_owned(),
            signers: against.and_then(|against| against.signers_name.clone()),
            revoked: against.and_then(|against| against.revoked_name.clone()),
            name: name.to_owned(),
            declared,
            at,
        }
    }

    /// The lines for a POSIX shell that check the signature with coreutils and ssh-keygen alone.
    ///
    /// The first takes the signature out of the line behind the declaration: of what quotes part, the sixth piece from the end.
    pub fn lines(&self) -> [String; 2] {
        let record = quoted(&self.record);
        let signers = self.signers.as_deref().map_or("SIGNERS".to_owned(), quoted);
        let revoked = self.revoked.as_deref().map_or_else(String::new, |file| format!(" -r {}", quoted(file)));
        let (declared, signed) = (self.declared, self.declared + 1);
        let signature = format!("signature-{signed}.sig");
        let time = self.at.with_timezone(&Utc).format("%Y%m%d%H%M%SZ");
        [
            format!(
                "{{ echo '-----BEGIN SSH SIGNATURE-----'; head -n {signed} {record} | tail -n 1 | tr '\"' '\\n' | tail -n 6 | \
                 head -n 1 | fold -w 70; echo '-----END SSH SIGNATURE-----'; }} > {signature}"
            ),
            format!(
                "head -n {declared} {record} | ssh-keygen -Y verify -f {signers}{revoked} -I {} -n {NAMESPACE} \
                 -O verify-time={time} -s {signature}",
                quoted_text(self.name.as_bytes())
            ),
        ]
    }
}

/// As its lines; as none, where there is no recipe.
pub(super) fn as_lines<S: Serializer>(recipe: &Option<Recipe>, serializer: S) -> Result<S::Ok, S::Error> {
    recipe.as_ref().map_or_else(Vec::new, |recipe| recipe.lines().to_vec()).serialize(serializer)
}
