//! The board as numbers: places, channels, sockets, and which of them one fault can cover.

use crate::board::Board;

/// A slot by its index in board order.
pub type Place = u16;

/// A module by its index in the list of modules of a job.
pub type Piece = u16;

/// Stands for "no module here" and "not on the board".
pub const NOWHERE: u16 = u16::MAX;

/// How places hang together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    channel_of: Vec<u16>,
    places: Vec<Vec<Place>>,
    socket_of: Vec<u16>,
    channels: Vec<Vec<u16>>,
    groups: Vec<Vec<u16>>,
    group_of: Vec<u16>,
    /// By place: whether it is the first of its channel to be filled; empty when the order is not known.
    fills_first: Vec<bool>,
}

impl Layout {
    /// A regular board of `sockets` × `channels` × `slots`.
    pub fn grid(sockets: usize, channels: usize, slots: usize) -> Self {
        let shape: Vec<Vec<(usize, Option<u8>)>> = vec![vec![(slots, None); channels]; sockets];
        Self::of_shape(&shape)
    }

    /// The layout of a board file, places in board order.
    pub fn of(board: &Board) -> Self {
        let shape: Vec<Vec<(usize, Option<u8>)>> = board
            .socket
            .iter()
            .map(|socket| socket.channel.iter().map(|channel| (channel.slot.len(), channel.controller)).collect())
            .collect();
        let mut layout = Self::of_shape(&shape);
        let first =
            |slot: &crate::board::SlotRef<'_>| slot.channel.slot.iter().all(|o| o.position >= slot.slot.position);
        layout.fills_first = board.slots().map(|slot| first(&slot)).collect();
        layout
    }

    /// Whether a place is filled before all others of its channel, so that the channel is never in use without it.
    pub fn fills_first(&self, place: Place) -> bool {
        self.fills_first.get(usize::from(place)) == Some(&true)
    }

    fn of_shape(shape: &[Vec<(usize, Option<u8>)>]) -> Self {
        let mut layout = Self {
            channel_of: Vec::new(),
            places: Vec::new(),
            socket_of: Vec::new(),
            channels: Vec::new(),
            groups: Vec::new(),
            group_of: Vec::new(),
            fills_first: Vec::new(),
        };
        for (socket, listed) in shape.iter().enumerate() {
            let mut of_socket = Vec::new();
            for (slots, _) in listed {
                let channel = layout.places.len() as u16;
                let first = layout.channel_of.len() as u16;
                layout.places.push((first..first + *slots as u16).collect());
                layout.channel_of.extend(std::iter::repeat_n(channel, *slots));
                layout.socket_of.push(socket as u16);
                layout.group_of.push(NOWHERE);
                of_socket.push(channel);
            }
            layout.add_groups(&of_socket, &listed.iter().map(|c| c.1).collect::<Vec<_>>());
            layout.channels.push(of_socket);
        }
        layout
    }

    /// Channels that share processor contacts: those of one memory controller where the board file says, else neighbours
    /// two by two. A group that is the whole socket is no group of its own.
    fn add_groups(&mut self, channels: &[u16], controllers: &[Option<u8>]) {
        if channels.len() <= 2 {
            return;
        }
        let groups: Vec<Vec<u16>> = if controllers.iter().all(Option::is_some) {
            let mut names: Vec<u8> = controllers.iter().flatten().copied().collect();
            names.sort_unstable();
            names.dedup();
            let of = |name: u8| {
                channels.iter().zip(controllers).filter(|(_, c)| **c == Some(name)).map(|(c, _)| *c).collect::<Vec<_>>()
            };
            names.into_iter().map(of).collect()
        } else {
            channels.chunks_exact(2).map(<[u16]>::to_vec).collect()
        };
        for group in groups.into_iter().filter(|g| g.len() > 1 && g.len() < channels.len()) {
            for channel in &group {
                self.group_of[usize::from(*channel)] = self.groups.len() as u16;
            }
            self.groups.push(group);
        }
    }

    /// How many places there are.
    pub fn len(&self) -> usize {
        self.channel_of.len()
    }

    /// Whether there is no place at all.
    pub fn is_empty(&self) -> bool {
        self.channel_of.is_empty()
    }

    /// The channel of a place, counted over the whole board.
    pub fn channel_of(&self, place: Place) -> u16 {
        self.channel_of[usize::from(place)]
    }

    /// The socket of a channel.
    pub fn socket_of(&self, channel: u16) -> u16 {
        self.socket_of[usize::from(channel)]
    }

    /// The places of a channel.
    pub fn places(&self, channel: u16) -> &[Place] {
        &self.places[usize::from(channel)]
    }

    /// All channels, counted over the whole board.
    pub fn channel_count(&self) -> usize {
        self.places.len()
    }

    /// The channels of a socket.
    pub fn channels(&self, socket: u16) -> &[u16] {
        &self.channels[usize::from(socket)]
    }

    /// How many sockets there are.
    pub fn socket_count(&self) -> usize {
        self.channels.len()
    }

    /// The channels of a group that shares processor contacts.
    pub fn group(&self, group: u16) -> &[u16] {
        &self.groups[usize::from(group)]
    }

    /// How many such groups there are.
    pub fn group_count(&self) -> usize {
        self.groups.len()
    }

    /// The group of a channel, if it is in one.
    pub fn group_of(&self, channel: u16) -> Option<u16> {
        Some(self.group_of[usize::from(channel)]).filter(|g| *g != NOWHERE)
    }

    /// The most slots on one channel.
    pub fn deepest(&self) -> usize {
        self.places.iter().map(Vec::len).max().unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_counted_by_socket_channel_slot() {
        let layout = Layout::grid(2, 8, 2);
        assert_eq!((layout.len(), layout.channel_count(), layout.group_count()), (32, 16, 8));
        assert_eq!((layout.channel_of(17), layout.socket_of(8)), (8, 1));
        assert_eq!(layout.places(8), [16, 17]);
        assert_eq!(layout.group_of(9), Some(4));
    }

    #[test]
    fn two_channels_are_the_whole_socket_and_no_group() {
        assert_eq!(Layout::grid(1, 2, 2).group_count(), 0);
        assert_eq!(Layout::grid(1, 3, 2).group_count(), 1);
    }
}
