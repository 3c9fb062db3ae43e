//! (see the room's files)
