//! The running SSH agent: which keys it holds, and a signature by one of them (draft-miller-ssh-agent).

use std::io::{self, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;

use crate::record::sign::{Short, SignerKey, Wire, put_string};

const REQUEST_IDENTITIES: u8 = 11;
const IDENTITIES_ANSWER: u8 = 12;
const SIGN_REQUEST: u8 = 13;
const SIGN_RESPONSE: u8 = 14;
/// RSA with SHA-512; without it an agent may use SHA-1, which the signature format forbids.
const RSA_SHA2_512: u32 = 4;
/// The longest answer taken, in bytes (OpenSSH's own limit; from memory).
const LONGEST: u32 = 256 * 1024;

/// Why an agent did not sign.
#[derive(Debug, thiserror::Error)]
pub enum AgentError {
    #[error("no agent answers: SSH_AUTH_SOCK is not set")]
    NotRunning,
    #[error("the agent cannot be reached: {0}")]
    Io(#[from] io::Error),
    #[error("the agent's answer cannot be read")]
    Garbled,
    #[error("the agent refused to sign: the key is gone, it was not confirmed, or its device was not touched")]
    Refused,
}

impl From<Short> for AgentError {
    fn from(_: Short) -> Self {
        Self::Garbled
    }
}

/// A key the agent holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    pub key: SignerKey,
    pub comment: String,
}

/// A connection to an agent.
#[derive(Debug)]
pub struct Agent<S> {
    stream: S,
}

impl Agent<UnixStream> {
    /// The agent at a socket.
    ///
    /// # Errors
    /// When nobody listens there.
    pub fn connect(socket: &Path) -> Result<Self, AgentError> {
        Ok(Self { stream: UnixStream::connect(socket)? })
    }
}

impl<S: Read + Write> Agent<S> {
    /// A client on any stream.
    #[cfg(test)]
    pub fn on(stream: S) -> Self {
        Self { stream }
    }

    /// The keys it holds, those of a kind unknown here left out.
    ///
    /// # Errors
    /// A stream that fails, an answer that cannot be read.
    pub fn keys(&mut self) -> Result<Vec<Held>, AgentError> {
        let answer = self.ask(&[REQUEST_IDENTITIES])?;
        let mut wire = Wire(&answer);
        if wire.u8()? != IDENTITIES_ANSWER {
            return Err(AgentError::Garbled);
        }
        let mut held = Vec::new();
        for _ in 0..wire.u32()? {
            let (blob, comment) = (wire.string()?, wire.string()?);
            if let Ok(key) = SignerKey::from_blob(blob) {
                held.push(Held { key, comment: String::from_utf8_lossy(comment).into_owned() });
            }
        }
        Ok(held)
    }

    /// A signature over `bytes` in SSH wire format. A key on a device waits here for its touch.
    ///
    /// # Errors
    /// As [`Agent::keys`], and a refusal.
    pub fn sign(&mut self, key: &SignerKey, bytes: &[u8]) -> Result<Vec<u8>, AgentError> {
        let mut request = vec![SIGN_REQUEST];
        put_string(&mut request, key.blob());
        put_string(&mut request, bytes);
        let flags = if key.is_rsa() { RSA_SHA2_512 } else { 0 };
        request.extend(flags.to_be_bytes());
        let answer = self.ask(&request)?;
        let mut wire = Wire(&answer);
        if wire.u8()? != SIGN_RESPONSE {
            return Err(AgentError::Refused);
        }
        Ok(wire.string()?.to_owned())
    }

    fn ask(&mut self, request: &[u8]) -> Result<Vec<u8>, AgentError> {
        let mut message = Vec::new();
        put_string(&mut message, request);
        self.stream.write_all(&message)?;
        let mut length = [0; 4];
        self.stream.read_exact(&mut length)?;
        let length = u32::from_be_bytes(length);
        if !(1..=LONGEST).contains(&length) {
            return Err(AgentError::Garbled);
        }
        let mut answer = vec![0; length as usize];
        self.stream.read_exact(&mut answer)?;
        Ok(answer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Says what it was given, whatever it is asked.
    struct Saying(io::Cursor<Vec<u8>>);

    impl Read for Saying {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            self.0.read(buffer)
        }
    }

    impl Write for Saying {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    fn keys(answer: &[u8]) -> Result<Vec<Held>, AgentError> {
        Agent::on(Saying(io::Cursor::new(answer.to_vec()))).keys()
    }

    #[test]
    fn a_lying_agent_is_found_out_and_an_empty_one_holds_nothing() {
        assert!(matches!(keys(&[0, 0, 0, 5, 12, 0, 0, 0, 0]), Ok(held) if held.is_empty()));
        for garbled in [
            &[0, 0, 0, 0][..],
            &[255, 255, 255, 255, 12],
            &[0, 0, 0, 1, 5],
            &[0, 0, 0, 5, 12, 0, 0, 0, 9],
            &[0, 0, 0, 9, 12, 0, 0, 0, 1, 255, 255, 255, 255],
        ] {
            assert!(matches!(keys(garbled), Err(AgentError::Garbled)), "{garbled:?}");
        }
        assert!(matches!(keys(&[0, 0, 0, 9, 12]), Err(AgentError::Io(_))));
    }
}
