//! The narrowest region in words: which channels stand alone, with how much of the memory, at what part of the speed.

use crate::board::{Board, InterleaveStyle, Socket};
use crate::plan::interleave::Bandwidth;
use crate::plan::seat::Seats;
use crate::source::counted;
use crate::text::shown;

/// `channel 1 of F and R alone: 20 % of the memory at a quarter of the speed`; `None` where no socket has two regions.
pub fn alone(board: &Board, seats: &Seats, bandwidth: &Bandwidth) -> Option<String> {
    let mut same: Vec<(String, String, Vec<String>)> = Vec::new();
    for (index, (socket, layout)) in bandwidth.sockets.iter().zip(&board.socket).enumerate() {
        let [first, .., last] = &socket.regions[..] else { continue };
        let total: u64 = socket.regions.iter().map(|r| r.size.mib()).sum();
        let share = (last.size.mib() * 100).checked_div(total).unwrap_or(0);
        let text = format!("{share} % of {{}} memory at {}", part(last.ways, first.ways));
        let channels = named(board, layout, seats, index, usize::from(last.ways));
        let label = shown(&socket.label).to_string();
        match same.iter_mut().find(|(c, t, _)| *c == channels && *t == text) {
            Some((.., labels)) => labels.push(label),
            None => same.push((channels, text, vec![label])),
        }
    }
    let everywhere = same.first().is_some_and(|(.., labels)| {
        labels.len() == bandwidth.sockets.iter().filter(|socket| !socket.regions.is_empty()).count()
    });
    let (channels, text, labels) = same.into_iter().next()?;
    let whose = if everywhere { "the" } else { "its" };
    Some(format!("{channels} of {} alone: {}", super::listed(&labels), text.replace("{}", whose)))
}

/// The channels that hold most, which slices reach last; only their number where they cannot be told apart.
fn named(board: &Board, layout: &Socket, seats: &Seats, socket: usize, ways: usize) -> String {
    let mut caps = vec![0u64; layout.channel.len()];
    for at in board.slots().filter(|at| at.socket_index == socket) {
        if let Some(Some(seat)) = seats.get(at.index) {
            caps[at.channel_index] += seat.spec.gib.mib();
        }
    }
    let mut order: Vec<usize> = (0..caps.len()).collect();
    order.sort_by_key(|&channel| (std::cmp::Reverse(caps[channel]), channel));
    let sliced = board.interleave.as_ref().is_none_or(|i| i.style == InterleaveStyle::Slice);
    let last = order.get(ways.wrapping_sub(1)).map(|&c| caps[c]);
    let next = order.get(ways).map_or(0, |&c| caps[c]);
    if sliced && ways <= 4 && last.is_some_and(|cap| cap > next) {
        let mut labels: Vec<usize> = order[..ways].to_vec();
        labels.sort_unstable();
        let labels: Vec<String> = labels.iter().map(|&c| shown(&layout.channel[c].label).to_string()).collect();
        let word = if ways == 1 { "channel" } else { "channels" };
        format!("{word} {}", labels.join(", "))
    } else {
        counted(ways, "channel")
    }
}

/// `a quarter of the speed`.
fn part(narrow: u8, wide: u8) -> String {
    let name = match (wide.checked_rem(narrow), wide.checked_div(narrow)) {
        (Some(0), Some(2)) => return "half the speed".to_owned(),
        (Some(0), Some(3)) => "a third",
        (Some(0), Some(4)) => "a quarter",
        (Some(0), Some(5)) => "a fifth",
        (Some(0), Some(6)) => "a sixth",
        (Some(0), Some(8)) => "an eighth",
        (Some(0), Some(10)) => "a tenth",
        (Some(0), Some(12)) => "a twelfth",
        _ => return format!("the speed of {} in place of {wide}", counted(usize::from(narrow), "channel")),
    };
    format!("{name} of the speed")
}

#[cfg(test)]
mod tests {
    use super::part;

    #[test]
    fn parts_of_the_speed_are_told_as_people_say_them() {
        assert_eq!(part(1, 4), "a quarter of the speed");
        assert_eq!(part(2, 4), "half the speed");
        assert_eq!(part(1, 12), "a twelfth of the speed");
        assert_eq!(part(2, 3), "the speed of 2 channels in place of 3");
    }
}
