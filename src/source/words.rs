//! Grammar of fault messages: lists, and the nearest of several names.

use crate::text::shown;

/// `a`, `a or b`, `a, b or c`.
pub fn either<S: AsRef<str>>(names: &[S]) -> String {
    match names {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [rest @ .., last] => {
            let rest: Vec<&str> = rest.iter().map(AsRef::as_ref).collect();
            format!("{} or {}", rest.join(", "), last.as_ref())
        }
    }
}

/// `1 slot`, `2 slots`.
pub fn counted(number: usize, one: &str) -> String {
    format!("{number} {one}{}", if number == 1 { "" } else { "s" })
}

/// The name nearest to `wanted`, when one is near enough that it may have been meant: case apart, at most a third of
/// its characters changed, added, left out or exchanged with a neighbour. Of several equally near none is named, since
/// a wrong hint is worse than none.
pub fn nearest<'a>(wanted: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    const LONGEST: usize = 64;
    let folded: Vec<char> = wanted.to_lowercase().chars().take(LONGEST + 1).collect();
    if folded.is_empty() || folded.len() > LONGEST {
        return None;
    }
    let mut best: Option<((usize, usize), &str)> = None;
    let mut tied = false;
    for name in names {
        let other: Vec<char> = name.to_lowercase().chars().take(LONGEST).collect();
        let allowed = (folded.len().max(other.len()) / 3).max(1);
        let distance = distance(&folded, &other);
        if distance > allowed || distance >= folded.len() {
            continue;
        }
        let rank = (distance, folded.len().abs_diff(other.len()));
        match best {
            Some((least, known)) if rank > least || known == name => {}
            Some((least, _)) if rank == least => tied = true,
            _ => {
                best = Some((rank, name));
                tied = false;
            }
        }
    }
    best.filter(|_| !tied).map(|(_, name)| name)
}

/// The way out for a name that is none of `known`: the nearest one, and all of them where they are few.
pub fn way_out<'a>(wanted: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    const FEW: usize = 16;
    let known: Vec<&str> = known.into_iter().collect();
    let near = nearest(wanted, known.iter().copied()).map(|name| format!("did you mean `{}`?", shown(name)));
    let all = (!known.is_empty() && known.len() <= FEW).then(|| {
        let names: Vec<String> = known.iter().map(|name| shown(name).to_string()).collect();
        format!("known here: {}", names.join(", "))
    });
    match (near, all) {
        (Some(near), Some(all)) => Some(format!("{near} {all}")),
        (near, all) => near.or(all),
    }
}

/// Edits between two words, an exchange of neighbours counting as one.
fn distance(a: &[char], b: &[char]) -> usize {
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let mut cost = (last[j] + usize::from(x != y)).min(last[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && *x == b[j - 1] && a[i - 1] == *y {
                cost = cost.min(before[j - 1] + 1);
            }
            row.push(cost);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_name_is_one_that_may_have_been_meant() {
        let keys = ["label", "position", "tab", "tap", "key", "reports_as", "at"];
        for (typed, meant) in [
            ("postion", Some("position")),
            ("lable", Some("label")),
            ("Label", Some("label")),
            ("report_as", Some("reports_as")),
            ("colour", None),
            ("tat", None),
            ("x", None),
            ("", None),
        ] {
            assert_eq!(nearest(typed, keys), meant, "{typed}");
        }
    }

    #[test]
    fn lists_read_as_sentences() {
        assert_eq!(either(&["a"]), "a");
        assert_eq!(either(&["a", "b", "c"]), "a, b or c");
        assert_eq!((counted(1, "slot"), counted(24, "slot")), ("1 slot".into(), "24 slots".into()));
    }
}
