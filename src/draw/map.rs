//! The slot map: where each slot of a board lies, and what is with it.

use std::collections::BTreeMap;

use super::tone::{columns, cut};
use super::{Drawing, Look, Tone};
use crate::board::{Board, MOST_PLACES, SlotRef};
use crate::text::shown_within;

/// What is with a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// Nothing is there and nothing comes.
    Empty,
    /// A module is there and stays.
    Fitted,
    /// A module is planned for it.
    Planned,
    /// Its module leaves.
    Leaves,
    /// The slot the hands are at.
    Current,
    /// Done, and on record.
    Done,
    /// Something is to be looked at here.
    Warned,
    /// The machine reports something else than planned.
    Finding,
    /// It did, and no longer does.
    Cured,
}

impl State {
    /// All states, in the order of the legend.
    pub const ALL: [Self; 9] = [
        Self::Empty,
        Self::Fitted,
        Self::Planned,
        Self::Leaves,
        Self::Current,
        Self::Done,
        Self::Warned,
        Self::Finding,
        Self::Cured,
    ];

    /// What the legend says.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::Fitted => "fitted, stays",
            Self::Planned => "planned",
            Self::Leaves => "leaves",
            Self::Current => "HERE",
            Self::Done => "done",
            Self::Warned => "look here",
            Self::Finding => "finding",
            Self::Cured => "cured",
        }
    }

    /// The sign between the brackets; no two are alike, so that colour is never needed.
    pub const fn sign(self, unicode: bool) -> char {
        match (self, unicode) {
            (Self::Empty, false) => ' ',
            (Self::Empty, true) => '\u{25e6}',
            (Self::Fitted, false) => 'o',
            (Self::Fitted, true) => '\u{25cf}',
            (Self::Planned, _) => '+',
            (Self::Leaves, _) => '-',
            (Self::Current, false) => '*',
            (Self::Current, true) => '\u{25c6}',
            (Self::Done, false) => '#',
            (Self::Done, true) => '\u{25a0}',
            (Self::Warned, _) => '!',
            (Self::Finding, _) => 'X',
            (Self::Cured, _) => '=',
        }
    }

    const fn tone(self) -> Tone {
        match self {
            Self::Empty | Self::Fitted => Tone::Quiet,
            Self::Planned | Self::Leaves => Tone::Plain,
            Self::Current => Tone::Here,
            Self::Done | Self::Cured => Tone::Good,
            Self::Warned => Tone::Attention,
            Self::Finding => Tone::Wrong,
        }
    }

    /// What encloses the sign; the slot the hands are at stands out by that as well.
    const fn brackets(self) -> (char, char) {
        match self {
            Self::Current => ('>', '<'),
            _ => ('[', ']'),
        }
    }
}

/// What is drawn for one slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mark {
    pub state: State,
    /// A sign in place of the state's own: a position, a count. Only printable ASCII is drawn.
    pub sign: Option<char>,
}

impl From<State> for Mark {
    fn from(state: State) -> Self {
        Self { state, sign: None }
    }
}

impl Mark {
    fn text(self, unicode: bool) -> String {
        let (open, close) = self.state.brackets();
        let sign = self.sign.filter(|sign| (' '..='~').contains(sign)).unwrap_or(self.state.sign(unicode));
        format!("{open}{sign}{close}")
    }
}

/// The map of a board, as the technician stands where its file says so, with `mark` for each slot.
///
/// A board whose slots lie in a wide row gets two lines a row, label above sign; others one. Where neither fits in
/// `look.width`, each channel is listed on a line of its own.
pub fn slot_map(board: &Board, mark: &dyn Fn(SlotRef<'_>) -> Mark, look: Look) -> Drawing {
    let grid = Grid::of(board);
    match grid.cells_within(look.width) {
        Some(cells) => grid.draw(mark, look, cells),
        None => list(board, mark, look),
    }
}

/// What the rows of [`slot_map`] mean: where you look from is known only of a board whose file places each slot.
pub fn orientation(board: &Board, look: Look) -> &'static str {
    if is_placed(board) && Grid::of(board).cells_within(look.width).is_some() {
        "seen as you stand before the machine"
    } else {
        "channel by channel, not as the slots lie on the board"
    }
}

/// The row of a drawn map in which the slot in hand is.
pub fn row_in_hand(lines: &[String]) -> Option<usize> {
    let signs = [false, true].map(|unicode| Mark::from(State::Current).text(unicode));
    lines.iter().position(|line| signs.iter().any(|sign| line.contains(sign.as_str())))
}

/// Whether the board's file says where each slot lies.
fn is_placed(board: &Board) -> bool {
    board.slots().all(|slot| slot.slot.at.is_some())
}

/// The signs that `states` use, with their words.
pub fn legend(states: impl IntoIterator<Item = State>, look: Look) -> Drawing {
    let used: Vec<State> = states.into_iter().collect();
    let mut drawing = Drawing::default();
    let mut taken = 0;
    for state in State::ALL.into_iter().filter(|state| used.contains(state)) {
        let sign = Mark::from(state).text(look.unicode);
        let width = sign.chars().count() + 1 + state.word().len();
        if taken == 0 || taken + 3 + width > look.width {
            drawing.start_line();
            taken = 0;
        } else {
            drawing.put("   ", Tone::Plain);
            taken += 3;
        }
        drawing.put(sign, state.tone());
        drawing.put(format!(" {}", state.word()), Tone::Plain);
        taken += width;
    }
    drawing
}

/// Where slots and sockets lie in a drawing: row and column, counted from 0 at the top left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Places {
    pub columns: usize,
    pub rows: usize,
    /// By the slot's index in board order.
    pub slots: BTreeMap<usize, (usize, usize)>,
    /// A free place amid the slots of each socket, where there is one, with the socket's cleaned label.
    pub sockets: Vec<((usize, usize), String)>,
}

/// The places of a board's slots, as the technician stands; the same for every kind of drawing.
pub fn places(board: &Board) -> Places {
    let grid = Grid::of(board);
    Places {
        columns: grid.columns,
        rows: grid.rows,
        slots: grid.cells.iter().map(|(place, cell)| (cell.slot.index, *place)).collect(),
        sockets: grid.sockets.into_iter().collect(),
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cells {
    /// `[+]F1-1`
    OneLine,
    /// The label, and below it the sign.
    TwoLines,
}

struct Cell<'b> {
    label: String,
    slot: SlotRef<'b>,
}

/// Slots by row and column, and the sockets between them.
struct Grid<'b> {
    columns: usize,
    rows: usize,
    cells: BTreeMap<(usize, usize), Cell<'b>>,
    sockets: BTreeMap<(usize, usize), String>,
}

impl<'b> Grid<'b> {
    fn of(board: &'b Board) -> Self {
        let placed = is_placed(board);
        let mut cells = BTreeMap::new();
        let mut above = 0;
        let mut socket_before = 0;
        for slot in board.slots() {
            // Without places: a column for each channel, the sockets one below the other.
            if slot.socket_index != socket_before {
                above = cells.keys().map(|(row, _): &(usize, usize)| row + 1).max().unwrap_or_default();
                socket_before = slot.socket_index;
            }
            let place = match slot.slot.at {
                Some([column, row]) if placed => (usize::from(row), usize::from(column)),
                _ => (above + usize::from(slot.slot.position.max(1)) - 1, slot.channel_index),
            };
            cells.insert(place, Cell { label: shown_within(slot.slot.label.as_str(), 16).to_string(), slot });
        }
        // Columns and rows without a slot at the left and at the top are not drawn.
        let left = cells.keys().map(|(_, column)| *column).min().unwrap_or_default();
        let top = cells.keys().map(|(row, _)| *row).min().unwrap_or_default();
        let cells: BTreeMap<_, _> =
            cells.into_iter().map(|((row, column), cell)| ((row - top, column - left), cell)).collect();
        let mut grid = Self {
            columns: cells.keys().map(|(_, column)| column + 1).max().unwrap_or_default(),
            rows: cells.keys().map(|(row, _)| row + 1).max().unwrap_or_default(),
            cells,
            sockets: BTreeMap::new(),
        };
        for (index, socket) in board.socket.iter().enumerate() {
            if let Some(place) = grid.place_of_socket(index) {
                grid.sockets.insert(place, shown_within(&socket.label, 16).to_string());
            }
        }
        grid
    }

    /// A free place amid the slots of a socket.
    fn place_of_socket(&self, index: usize) -> Option<(usize, usize)> {
        let own: Vec<(usize, usize)> =
            self.cells.iter().filter(|(_, cell)| cell.slot.socket_index == index).map(|(place, _)| *place).collect();
        let (top, bottom) = (own.iter().map(|p| p.0).min()?, own.iter().map(|p| p.0).max()?);
        let (left, right) = (own.iter().map(|p| p.1).min()?, own.iter().map(|p| p.1).max()?);
        let middle =
            |place: &(usize, usize)| (2 * place.0).abs_diff(top + bottom) + (2 * place.1).abs_diff(left + right);
        (top..=bottom)
            .flat_map(|row| (left..=right).map(move |column| (row, column)))
            .filter(|place| !self.cells.contains_key(place) && !self.sockets.contains_key(place))
            .min_by_key(middle)
    }

    /// The widest label.
    fn label(&self) -> usize {
        self.cells.values().map(|cell| columns(&cell.label)).max().unwrap_or_default()
    }

    /// How the cells fit into so many columns; `None` where they do not.
    fn cells_within(&self, width: usize) -> Option<Cells> {
        let label = self.label();
        if self.rows > usize::from(MOST_PLACES) {
            None
        } else if self.columns * (label + 5) <= width + 2 {
            Some(Cells::OneLine)
        } else if self.columns * (label.max(3) + 1) <= width + 1 {
            Some(Cells::TwoLines)
        } else {
            None
        }
    }

    fn draw(&self, mark: &dyn Fn(SlotRef<'_>) -> Mark, look: Look, cells: Cells) -> Drawing {
        let label = if cells == Cells::OneLine { self.label() } else { self.label().max(3) };
        let width = if cells == Cells::OneLine { label + 3 } else { label };
        let gap = if cells == Cells::OneLine { "  " } else { " " };
        let mut drawing = Drawing::default();
        for row in 0..self.rows {
            let lines: &[bool] = if cells == Cells::OneLine { &[false] } else { &[true, false] };
            for upper in lines {
                drawing.start_line();
                for column in 0..self.columns {
                    if column > 0 {
                        drawing.put(gap, Tone::Plain);
                    }
                    match self.cells.get(&(row, column)) {
                        Some(cell) => draw_cell(&mut drawing, cell, mark(cell.slot), look, label, (cells, *upper)),
                        None => {
                            let socket = self.sockets.get(&(row, column)).filter(|_| !*upper);
                            let name = socket.map_or_else(String::new, |name| cut(&format!("({name})"), width));
                            drawing.put(format!("{name:^width$}"), Tone::Strong);
                        }
                    }
                }
            }
        }
        drawing
    }
}

fn draw_cell(
    drawing: &mut Drawing,
    cell: &Cell<'_>,
    mark: Mark,
    look: Look,
    label: usize,
    (cells, upper): (Cells, bool),
) {
    let tone = mark.state.tone();
    let sign = mark.text(look.unicode);
    match (cells, upper) {
        (Cells::OneLine, _) => {
            drawing.put(sign, tone);
            drawing.put(cell.label.clone(), tone);
            drawing.put(" ".repeat(label - columns(&cell.label)), Tone::Plain);
        }
        (Cells::TwoLines, true) => {
            drawing.put(cell.label.clone(), tone);
            drawing.put(" ".repeat(label - columns(&cell.label)), Tone::Plain);
        }
        (Cells::TwoLines, false) => {
            drawing.put(sign, tone);
            drawing.put(" ".repeat(label - 3), Tone::Plain);
        }
    }
}

/// Each channel on a line of its own, wrapped where it must be.
fn list(board: &Board, mark: &dyn Fn(SlotRef<'_>) -> Mark, look: Look) -> Drawing {
    let mut drawing = Drawing::default();
    let heads: Vec<String> = board
        .socket
        .iter()
        .flat_map(|socket| socket.channel.iter().map(move |channel| (socket, channel)))
        .map(|(socket, channel)| {
            let most = (look.width / 3).clamp(1, 12);
            cut(&format!("{}/{}", shown_within(&socket.label, 16), shown_within(&channel.label, 16)), most)
        })
        .collect();
    let head_width = heads.iter().map(|head| columns(head)).max().unwrap_or_default();
    let mut heads = heads.into_iter();
    let mut channel_before = None;
    let mut taken = 0;
    for slot in board.slots() {
        let label =
            cut(shown_within(slot.slot.label.as_str(), 16).as_str(), look.width.saturating_sub(head_width + 4).max(1));
        let width = 1 + 3 + columns(&label);
        let channel = Some((slot.socket_index, slot.channel_index));
        if channel != channel_before {
            channel_before = channel;
            drawing.start_line();
            drawing.put(format!("{:head_width$}", heads.next().unwrap_or_default()), Tone::Strong);
            taken = head_width;
        } else if taken + width > look.width {
            drawing.start_line();
            drawing.put(" ".repeat(head_width), Tone::Plain);
            taken = head_width;
        }
        let mark = mark(slot);
        drawing.put(" ", Tone::Plain);
        drawing.put(format!("{}{label}", mark.text(look.unicode)), mark.state.tone());
        taken += width;
    }
    drawing
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::{Text, from_toml};

    const HERON: &str = include_str!("../../checklists/boards/heron.toml");
    const CURLEW: &str = include_str!("../../checklists/boards/curlew.toml");
    const WREN: &str = include_str!("../../checklists/boards/wren.toml");

    fn board(text: &str) -> Board {
        from_toml(&Text { file: "board.toml", bytes: text.as_bytes() }).unwrap_or_else(|faults| panic!("{faults}"))
    }

    /// Some state for each slot, all but the last used.
    fn some(slot: SlotRef<'_>) -> Mark {
        State::ALL[slot.index % (State::ALL.len() - 1)].into()
    }

    fn drawn(board: &Board, width: usize) -> String {
        slot_map(board, &some, Look { width, unicode: false }).plain().join("\n")
    }

    #[test]
    fn heron_lies_in_two_rows_with_its_sockets_between() {
        insta::assert_snapshot!(drawn(&board(HERON), 80), @r"
        R1-1 R1-2 R1-3 R2-1 R2-2 R2-3      R3-3 R3-2 R3-1 R4-3 R4-2 R4-1
        >*<  [#]  [!]  [X]  [ ]  [o]  (R)  >*<  [-]  [+]  [X]  [!]  [#]
        F1-1 F1-2 F1-3 F2-1 F2-2 F2-3      F3-3 F3-2 F3-1 F4-3 F4-2 F4-1
        [ ]  [o]  [+]  [-]  >*<  [#]  (F)  [ ]  [X]  [!]  [-]  [+]  [o]
        ");
    }

    #[test]
    fn curlew_lies_in_stacks() {
        insta::assert_snapshot!(drawn(&board(CURLEW), 80), @r"
        [X]W08          [X]W16  [X]E08          [X]E16
        [!]W07          [!]W15  [!]E07          [!]E15
        [#]W06          [#]W14  [#]E06          [#]E14
        >*<W05  (WEST)  >*<W13  >*<E05  (EAST)  >*<E13
        [-]W04          [-]W12  [-]E04          [-]E12
        [+]W03          [+]W11  [+]E03          [+]E11
        [o]W02          [o]W10  [o]E02          [o]E10
        [ ]W01          [ ]W09  [ ]E01          [ ]E09
        ");
    }

    #[test]
    fn wren_is_one_row() {
        insta::assert_snapshot!(drawn(&board(WREN), 80), @r"[o]Q1  [ ]Q2  [-]Q3  [+]Q4");
    }

    #[test]
    fn a_narrow_terminal_gets_a_line_for_each_channel() {
        insta::assert_snapshot!(drawn(&board(HERON), 40), @r"
        F/1 [ ]F1-1 [o]F1-2 [+]F1-3
        F/2 [-]F2-1 >*<F2-2 [#]F2-3
        F/3 [!]F3-1 [X]F3-2 [ ]F3-3
        F/4 [o]F4-1 [+]F4-2 [-]F4-3
        R/1 >*<R1-1 [#]R1-2 [!]R1-3
        R/2 [X]R2-1 [ ]R2-2 [o]R2-3
        R/3 [+]R3-1 [-]R3-2 >*<R3-3
        R/4 [#]R4-1 [!]R4-2 [X]R4-3
        ");
    }

    #[test]
    fn a_board_without_places_gets_a_column_for_each_channel() {
        let mut heron = board(HERON);
        for slot in heron.socket.iter_mut().flat_map(|s| &mut s.channel).flat_map(|c| &mut c.slot) {
            slot.at = None;
        }
        insta::assert_snapshot!(drawn(&heron, 80), @r"
        [ ]F1-1  [-]F2-1  [!]F3-1  [o]F4-1
        [o]F1-2  >*<F2-2  [X]F3-2  [+]F4-2
        [+]F1-3  [#]F2-3  [ ]F3-3  [-]F4-3
        >*<R1-1  [X]R2-1  [+]R3-1  [#]R4-1
        [#]R1-2  [ ]R2-2  [-]R3-2  [!]R4-2
        [!]R1-3  [o]R2-3  >*<R3-3  [X]R4-3
        ");
    }

    #[test]
    fn an_orientation_is_named_only_of_a_drawing_that_the_board_gives() {
        let seen = "seen as you stand before the machine";
        let by_channel = "channel by channel, not as the slots lie on the board";
        let at = |board: &Board, width| orientation(board, Look { width, unicode: false });
        assert_eq!([at(&board(HERON), 80), at(&board(HERON), 40)], [seen, by_channel]);
        let mut heron = board(HERON);
        heron.socket[0].channel[0].slot[0].at = None;
        assert_eq!(at(&heron, 80), by_channel);
    }

    #[test]
    fn the_legend_names_what_is_used_and_nothing_else() {
        let look = Look { width: 40, unicode: false };
        insta::assert_snapshot!(legend(State::ALL, look).plain().join("\n"), @r"
        [ ] empty   [o] fitted, stays
        [+] planned   [-] leaves   >*< HERE
        [#] done   [!] look here   [X] finding
        [=] cured
        ");
        assert_eq!(legend([State::Done], look).plain(), ["[#] done"]);
    }

    #[test]
    fn a_map_leaves_room_for_a_question_on_80_by_24() {
        for text in [HERON, CURLEW, WREN] {
            let lines = slot_map(&board(text), &some, Look::PLAIN).plain();
            assert!(lines.len() <= 12, "{} lines", lines.len());
        }
    }

    #[test]
    fn no_line_is_wider_than_asked_and_every_slot_is_there() {
        for text in [HERON, CURLEW, WREN] {
            let board = board(text);
            for width in 20..120 {
                for unicode in [false, true] {
                    let lines = slot_map(&board, &some, Look { width, unicode }).plain();
                    assert!(lines.iter().all(|line| columns(line) <= width), "{width}:\n{}", lines.join("\n"));
                    let all = lines.join(" ");
                    assert!(board.slots().all(|slot| all.contains(slot.slot.label.as_str())), "{width}:\n{all}");
                }
            }
        }
    }

    #[test]
    fn signs_differ_without_colour() {
        for unicode in [false, true] {
            let signs: std::collections::BTreeSet<String> =
                State::ALL.into_iter().map(|state| Mark::from(state).text(unicode)).collect();
            assert_eq!(signs.len(), State::ALL.len());
        }
    }

    #[test]
    fn colour_is_a_layer_that_changes_no_character() {
        let map = slot_map(&board(HERON), &some, Look::PLAIN);
        let mut screen = Characters::default();
        let mut parser = vte::Parser::new();
        parser.advance(&mut screen, map.coloured().join("\n").as_bytes());
        let rows: Vec<&str> = screen.text.split('\n').map(str::trim_end).collect();
        assert_eq!(rows, map.plain());
        assert!(map.coloured().iter().any(|line| line.contains('\x1b')));
    }

    /// What a terminal would show: printed characters and line feeds.
    #[derive(Default)]
    struct Characters {
        text: String,
    }

    impl vte::Perform for Characters {
        fn print(&mut self, c: char) {
            self.text.push(c);
        }

        fn execute(&mut self, byte: u8) {
            assert_eq!(byte, b'\n');
            self.text.push('\n');
        }

        fn csi_dispatch(&mut self, _: &vte::Params, _: &[u8], _: bool, action: char) {
            assert_eq!(action, 'm', "only colour");
        }
    }

    #[test]
    fn hostile_labels_are_drawn_as_escapes() {
        let mut wren = board(WREN);
        wren.socket[0].label = "\u{1b}[2J".to_owned();
        wren.socket[0].channel[0].slot[0].label = "\u{1b}]0;x\u{7}".into();
        wren.socket[0].channel[0].label = "\u{202e}".to_owned();
        for width in [10, 20, 40, 80] {
            let mark = |_: SlotRef<'_>| Mark { state: State::Empty, sign: Some('\u{9b}') };
            for line in slot_map(&wren, &mark, Look { width, unicode: false }).plain() {
                assert!(line.bytes().all(|byte| (b' '..=b'~').contains(&byte)), "{line:?}");
            }
        }
    }
}
