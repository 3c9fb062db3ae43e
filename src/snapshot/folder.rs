//! Many small files of one folder as one piece of bytes: one line a file, its path below the folder, a tab, and its bytes
//! with everything but printable ASCII escaped. Nothing is lost, and the piece can be read by eye.

use std::collections::BTreeMap;

/// The files of a folder by their path below it.
pub(super) type Files = BTreeMap<String, Vec<u8>>;

/// Writes the files as one piece.
pub(super) fn pack(files: &Files) -> Vec<u8> {
    let mut out = Vec::new();
    for (path, bytes) in files {
        out.extend(path.as_bytes().escape_ascii().to_string().into_bytes());
        out.push(b'\t');
        out.extend(bytes.escape_ascii().to_string().into_bytes());
        out.push(b'\n');
    }
    out
}

/// Reads a piece back. Lines that are none of ours are passed over.
pub(super) fn unpack(raw: &[u8]) -> Files {
    raw.split(|byte| *byte == b'\n')
        .filter_map(|line| {
            let tab = line.iter().position(|byte| *byte == b'\t')?;
            let path = unescape(line.get(..tab)?)?;
            Some((String::from_utf8(path).ok()?, unescape(line.get(tab + 1..)?)?))
        })
        .collect()
}

fn unescape(text: &[u8]) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(text.len());
    let mut rest = text.iter().copied();
    while let Some(byte) = rest.next() {
        out.push(match byte {
            b'\\' => match rest.next()? {
                b't' => b'\t',
                b'r' => b'\r',
                b'n' => b'\n',
                b'x' => {
                    let digits = [rest.next()?, rest.next()?];
                    u8::from_str_radix(std::str::from_utf8(&digits).ok()?, 16).ok()?
                }
                other => other,
            },
            other => other,
        });
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_bytes_come_back_as_they_were() {
        let all: Vec<u8> = (0..=255).collect();
        let files = Files::from([("memory0/state".to_owned(), b"online\n".to_vec()), ("a\tb\n\\".to_owned(), all)]);
        let packed = pack(&files);
        assert!(packed.starts_with(b"a\\tb\\n\\\\\t\\x00"));
        assert_eq!(unpack(&packed), files);
    }

    #[test]
    fn broken_lines_are_passed_over() {
        assert_eq!(unpack(b"no tab\nx\t\\x1\ny\t1\\\nz\tok"), Files::from([("z".to_owned(), b"ok".to_vec())]));
    }
}
