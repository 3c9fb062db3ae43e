//! A CSV file as rows by column. Commas, semicolons or tabs part the values, whichever the header uses.

use std::collections::{BTreeMap, BTreeSet};

use super::RowError;

/// One row: the columns that hold something.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Row {
    /// The line it begins in; the header is line 1.
    pub line: u64,
    pub cells: BTreeMap<&'static str, String>,
}

/// The rows of a file, and what is wrong with it, by line. Empty rows are left out.
pub fn rows(bytes: &[u8], known: &[&'static str]) -> (Vec<Row>, Vec<(u64, RowError)>) {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return (Vec::new(), vec![(1, RowError::Utf16)]);
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return (Vec::new(), vec![(1, RowError::Empty)]);
    }
    let delimiter = delimiter(bytes);
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).trim(csv::Trim::All).flexible(true).from_reader(bytes);
    let mut faults = Vec::new();
    let columns = match reader.byte_headers() {
        Ok(headers) => named(headers, known, &mut faults),
        Err(error) => {
            faults.push((1, RowError::Csv(error.to_string())));
            Vec::new()
        }
    };
    let mut out = Vec::new();
    // With a wrong header every row would be wrong.
    if faults.is_empty() {
        let mut lines = Lines { bytes, at: 0, line: 1 };
        for (index, record) in reader.byte_records().enumerate() {
            match record {
                Ok(record) => {
                    let line = record.position().map_or(index as u64 + 2, |position| lines.of(position.byte()));
                    let found = row(&record, line, &columns, delimiter).map_err(|wrong| (line, wrong));
                    match found {
                        Ok(row) if row.cells.is_empty() => {}
                        Ok(row) => out.push(row),
                        Err((line, wrong)) => faults.extend(wrong.into_iter().map(|fault| (line, fault))),
                    }
                }
                Err(error) => faults.push((index as u64 + 2, RowError::Csv(error.to_string()))),
            }
        }
    }
    (out, faults)
}

/// Whether a file looks like a list with these columns, faults or not: its header names two of them, or nothing else.
pub fn is_list(bytes: &[u8], known: &[&'static str]) -> bool {
    let header = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new().delimiter(delimiter(header)).trim(csv::Trim::All).from_reader(header);
    let Ok(headers) = reader.byte_headers() else { return false };
    let named = headers.iter().filter(|header| known.iter().any(|known| header.eq_ignore_ascii_case(known.as_bytes())));
    let named = named.count();
    named >= 2 || (named == 1 && headers.len() == 1)
}

/// Counts lines up to where a record begins: the reader's own count stops at the empty lines before it.
struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl Lines<'_> {
    fn of(&mut self, byte: u64) -> u64 {
        while let Some(here) = self.bytes.get(self.at) {
            let ends = *here == b'\n' || (*here == b'\r' && self.bytes.get(self.at + 1) != Some(&b'\n'));
            if self.at as u64 >= byte && !ends && *here != b'\r' {
                break;
            }
            self.line += u64::from(ends);
            self.at += 1;
        }
        self.line
    }
}

/// What parts the values of the header: the one of comma, semicolon and tab that stands there most.
fn delimiter(bytes: &[u8]) -> u8 {
    let header = bytes.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let count = |delimiter: u8| header.iter().filter(|byte| **byte == delimiter).count();
    // Of several that stand there equally often the last one wins.
    [b'\t', b';', b','].into_iter().max_by_key(|delimiter| count(*delimiter)).unwrap_or(b',')
}

fn named(headers: &csv::ByteRecord, known: &[&'static str], faults: &mut Vec<(u64, RowError)>) -> Vec<&'static str> {
    let mut columns: Vec<&'static str> = Vec::new();
    for header in headers {
        let header = String::from_utf8_lossy(header);
        let name = header.to_ascii_lowercase();
        match known.iter().find(|&&c| c == name) {
            Some(column) if columns.contains(column) => faults.push((1, RowError::Twice { column })),
            Some(column) => columns.push(column),
            None => {
                let nearest = nearest(&name, known);
                faults.push((1, RowError::Column { column: header.into_owned(), nearest }));
            }
        }
    }
    columns
}

fn row(record: &csv::ByteRecord, line: u64, columns: &[&'static str], delimiter: u8) -> Result<Row, Vec<RowError>> {
    let mut row = Row { line, ..Row::default() };
    if record.iter().all(<[u8]>::is_empty) {
        return Ok(row);
    }
    if record.len() != columns.len() {
        let help = match (record.len() > columns.len(), delimiter) {
            (true, b',') => "put a value that holds a comma in quotes",
            (true, b';') => "put a value that holds a semicolon in quotes",
            (true, _) => "put a value that holds a tab in quotes",
            (false, _) => "leave a value empty rather than out, and close every quote",
        };
        return Err(vec![RowError::Length { has: record.len(), header: columns.len(), help }]);
    }
    let mut faults = Vec::new();
    for (column, value) in columns.iter().zip(record) {
        match std::str::from_utf8(value) {
            Err(_) => {
                let value = String::from_utf8_lossy(value).into_owned();
                faults.push(RowError::NotUtf8 { column, value });
            }
            // Serials are a list, and a line break parts them as a space does.
            Ok(text) if text.contains(['\n', '\r']) && !column.starts_with("serial") => {
                faults.push(RowError::LineBreak { column });
            }
            Ok(text) if !text.trim().is_empty() => {
                row.cells.insert(column, text.trim().to_owned());
            }
            Ok(_) => {}
        }
    }
    if faults.is_empty() { Ok(row) } else { Err(faults) }
}

/// The known column nearest to `name`, by the letters both have.
fn nearest(name: &str, known: &[&'static str]) -> &'static str {
    let letters: BTreeSet<char> = name.chars().collect();
    let distance = |column: &&'static str| {
        let other: BTreeSet<char> = column.chars().collect();
        (letters.symmetric_difference(&other).count(), column.len().abs_diff(name.len()))
    };
    known.iter().copied().min_by_key(|column| distance(column)).unwrap_or("label")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &[u8]) -> Vec<String> {
        rows(text, &["part", "count", "serials"]).1.iter().map(|(line, fault)| format!("{line}: {fault}")).collect()
    }

    #[test]
    fn what_parts_the_values_is_read_from_the_header() {
        for text in [
            &b"part,count\nx,1\n"[..],
            b"part;count\nx;1\n",
            b"part\tcount\r\nx\t1\r\n",
            b"\xef\xbb\xbf\"part\",count\nx,1",
        ] {
            let (rows, faults) = rows(text, &["part", "count"]);
            assert_eq!(faults, []);
            assert_eq!((rows.len(), rows[0].cells["part"].as_str(), rows[0].cells["count"].as_str()), (1, "x", "1"));
        }
    }

    #[test]
    fn a_file_that_is_no_list_is_told_with_the_way_out() {
        assert!(told(b"")[0].contains("the file is empty; its first line names the columns"));
        assert!(told(b"\xef\xbb\xbf\n \n")[0].contains("the file is empty"));
        assert!(told(b"\xff\xfep\0a\0")[0].contains("UTF-16"));
        assert_eq!(told(b"part,count\n"), [""; 0]);
        assert!(told(b"part,part\n")[0].contains("column `part` stands twice"));
    }

    #[test]
    fn a_row_that_does_not_match_is_told_with_its_line() {
        assert_eq!(
            told(b"part,count\nx,1\n\ny,1,50\nz\n"),
            [
                "4: 3 values, and the header names 2; put a value that holds a comma in quotes",
                "5: 1 value, and the header names 2; leave a value empty rather than out, and close every quote"
            ]
        );
        assert_eq!(
            told(b"part,count\nx,1\n\"a\nb\",2\nc\xe9,3\n"),
            [
                "3: part holds a line break; write it in one line, and close every quote",
                "5: part `c\\u{FFFD}` is not UTF-8; save the list as CSV in UTF-8"
            ]
        );
        let (rows, faults) = rows(b"part,serials\nx,\"S1\nS2\"\n", &["part", "serials"]);
        assert_eq!((faults.len(), rows[0].cells["serials"].as_str()), (0, "S1\nS2"));
    }
}
