//! A page as a browser's parser reads it: tags in order, and everything it finds wrong.
#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::cell::RefCell;

use html5ever::tendril::StrTendril;
use html5ever::tokenizer::states::RawKind;
use html5ever::tokenizer::{BufferQueue, Tag, TagKind, Token, TokenSink, TokenSinkResult, Tokenizer, TokenizerOpts};

/// One tag.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seen {
    pub name: String,
    pub closes: bool,
    pub attributes: Vec<(String, String)>,
}

/// What the parser met.
#[derive(Debug, Default)]
pub struct Page {
    pub tags: Vec<Seen>,
    pub text: String,
    pub faults: Vec<String>,
}

#[derive(Default)]
struct Sink(RefCell<Page>);

/// Tags that have no end.
const VOID: [&str; 2] = ["meta", "br"];

impl TokenSink for Sink {
    type Handle = ();

    fn process_token(&self, token: Token, line: u64) -> TokenSinkResult<()> {
        let mut page = self.0.borrow_mut();
        match token {
            Token::ParseError(error) => page.faults.push(format!("line {line}: {error}")),
            Token::CommentToken(text) => page.faults.push(format!("line {line}: a comment: {text}")),
            Token::NullCharacterToken => page.faults.push(format!("line {line}: a NUL")),
            Token::CharacterTokens(text) => page.text.push_str(&text),
            Token::TagToken(tag) => return page.tag(tag, line),
            Token::DoctypeToken(_) | Token::EOFToken => {}
        }
        TokenSinkResult::Continue
    }
}

impl Page {
    fn tag(&mut self, tag: Tag, line: u64) -> TokenSinkResult<()> {
        if tag.had_duplicate_attributes {
            self.faults.push(format!("line {line}: an attribute twice"));
        }
        let name = tag.name.to_string();
        let attributes = tag.attrs.iter().map(|a| (a.name.local.to_string(), a.value.to_string())).collect();
        let closes = tag.kind == TagKind::EndTag;
        self.text.push(' ');
        self.tags.push(Seen { name: name.clone(), closes, attributes });
        match (name.as_str(), closes) {
            ("style", false) => TokenSinkResult::RawData(RawKind::Rawtext),
            ("title", false) => TokenSinkResult::RawData(RawKind::Rcdata),
            _ => TokenSinkResult::Continue,
        }
    }

    /// Reads a page.
    pub fn read(text: &str) -> Self {
        let opts = TokenizerOpts { exact_errors: true, ..TokenizerOpts::default() };
        let tokenizer = Tokenizer::new(Sink::default(), opts);
        let input = BufferQueue::default();
        input.push_back(StrTendril::from(text));
        let _ = tokenizer.feed(&input);
        tokenizer.end();
        let mut page = tokenizer.sink.0.into_inner();
        page.check_nesting();
        page
    }

    /// Every tag that opens closes, in reverse.
    fn check_nesting(&mut self) {
        let mut open: Vec<&str> = Vec::new();
        let mut faults = Vec::new();
        for tag in &self.tags {
            match (tag.closes, VOID.contains(&tag.name.as_str())) {
                (_, true) => {}
                (false, false) => open.push(&tag.name),
                (true, false) => match open.pop() {
                    Some(name) if name == tag.name => {}
                    other => faults.push(format!("</{}> closes {other:?}", tag.name)),
                },
            }
        }
        if !open.is_empty() {
            faults.push(format!("left open: {open:?}"));
        }
        self.faults.extend(faults);
    }

    /// All tags of a name.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Seen> {
        self.tags.iter().filter(move |tag| !tag.closes && tag.name == name)
    }

    /// The skeleton: names and attributes' names in order, values left out.
    pub fn skeleton(&self) -> Vec<(String, bool, Vec<String>)> {
        let names = |tag: &Seen| tag.attributes.iter().map(|(name, _)| name.clone()).collect();
        self.tags.iter().map(|tag| (tag.name.clone(), tag.closes, names(tag))).collect()
    }
}

impl Seen {
    /// An attribute's value.
    pub fn get(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(own, _)| own == name).map(|(_, value)| value.as_str())
    }
}
