//! The slot map above a question.
