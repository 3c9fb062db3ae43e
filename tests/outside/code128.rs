//! Our bar codes read by a decoder that is not ours: `zbarimg` of the ZBar project (Debian package `zbar-tools`).

use std::process::Command;

use slotwise::report::code128::code128;

use crate::collected::skipped;

/// A bar code as a grey picture (PGM, netpbm's `pgm(5)`): three dots a module, 60 rows.
fn picture(text: &str) -> Vec<u8> {
    const DOTS: usize = 3;
    const ROWS: usize = 60;
    let bars = code128(text).unwrap();
    let width = bars.modules() as usize * DOTS;
    let mut row = vec![255_u8; width];
    for (at, wide) in bars.bars() {
        row[at as usize * DOTS..(at + wide) as usize * DOTS].fill(0);
    }
    let mut picture = format!("P5\n{width} {ROWS}\n255\n").into_bytes();
    picture.extend(row.repeat(ROWS));
    picture
}

#[test]
fn another_decoder_reads_our_bars() {
    if Command::new("zbarimg").arg("--version").output().is_err() {
        skipped("bar codes against another decoder", "`zbarimg` is not there; Debian has it in zbar-tools");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let printable: String = (b' '..=b'~').map(char::from).collect();
    let (upper, lower) = printable.split_at(48);
    for text in
        ["7A410C9A", "0C0DE001", "12345678", "1234567", "AB1234567", "A1234567B", "00", "S/N 12-34_56", upper, lower]
    {
        let path = folder.path().join("code.pgm");
        std::fs::write(&path, picture(text)).unwrap();
        let read = Command::new("zbarimg")
            .args(["--quiet", "--raw", "-Sdisable", "-Scode128.enable"])
            .arg(&path)
            .output()
            .unwrap();
        let read = String::from_utf8(read.stdout).unwrap();
        assert_eq!(read.trim_end_matches('\n'), text);
    }
}
