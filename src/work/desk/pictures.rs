//! The queue of pictures that are to be drawn: for each slot the newest alone.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};

use super::tell::lock;
use crate::work::preview::Request;

/// A picture to draw.
pub struct Due {
    /// Which of the window's pictures.
    pub slot: u32,
    /// The number of the request.
    pub generation: u64,
    /// What is to be drawn.
    pub request: Request,
    /// Set when a newer request for the slot has come.
    pub cancel: Arc<AtomicBool>,
}

/// What waits, and what is being drawn.
#[derive(Default)]
pub struct Pictures {
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Default)]
struct State {
    waiting: BTreeMap<u32, (u64, Request)>,
    drawing: Option<(u32, Arc<AtomicBool>)>,
    closed: bool,
}

impl Pictures {
    /// One more; an older one for the same slot is dropped or stopped.
    pub fn push(&self, slot: u32, generation: u64, request: Request) {
        let mut state = lock(&self.state);
        if let Some((drawn, cancel)) = &state.drawing
            && *drawn == slot
        {
            cancel.store(true, Ordering::Relaxed);
        }
        state.waiting.insert(slot, (generation, request));
        self.changed.notify_all();
    }

    /// The next one, in order of slots; None once closed. Waits.
    pub fn next(&self) -> Option<Due> {
        let mut state = lock(&self.state);
        state.drawing = None;
        loop {
            if state.closed {
                return None;
            }
            if let Some((slot, (generation, request))) = state.waiting.pop_first() {
                let cancel = Arc::new(AtomicBool::new(false));
                state.drawing = Some((slot, Arc::clone(&cancel)));
                return Some(Due {
                    slot,
                    generation,
                    request,
                    cancel,
                });
            }
            state = self
                .changed
                .wait(state)
                .unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Nothing more is drawn.
    pub fn close(&self) {
        let mut state = lock(&self.state);
        state.closed = true;
        state.waiting.clear();
        if let Some((_, cancel)) = &state.drawing {
            cancel.store(true, Ordering::Relaxed);
        }
        self.changed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::color::space::Space;
    use crate::engine::color::vision::Vision;
    use crate::engine::frame::Size;
    use crate::engine::recipe::text::parse;
    use crate::work::preview::{Grid, Show};

    fn request() -> Request {
        let recipe = parse(
            "recipe = 1\n[[channel]]\nid = 'ha'\nfile = 'a.fits'\nline = 'Ha'\n\
             stretch = { black = 0, white = 1 }\n[[rendition]]\nid = 'one'\n\
             colors = { ha = 'natural' }\n",
            "test",
        );
        Request {
            recipe: Arc::new(recipe.expect("holds")),
            unhidden: None,
            layers: vec![None],
            show: Show::Channel(0),
            grid: Grid {
                corner: [0.0, 0.0],
                step: 1.0,
                size: Size {
                    width: 1,
                    height: 1,
                },
            },
            space: Space::Srgb,
            vision: Vision::Usual,
            marks: false,
        }
    }

    #[test]
    fn the_newest_of_a_slot_wins_and_slots_come_in_order() {
        let pictures = Pictures::default();
        pictures.push(2, 1, request());
        pictures.push(0, 2, request());
        pictures.push(2, 3, request());
        let first = pictures.next().expect("one");
        assert_eq!((first.slot, first.generation), (0, 2));
        pictures.push(0, 4, request());
        assert!(first.cancel.load(Ordering::Relaxed), "a newer one has come");
        pictures.push(2, 5, request());
        let second = pictures.next().expect("two");
        assert_eq!((second.slot, second.generation), (0, 4));
        let third = pictures.next().expect("three");
        assert_eq!((third.slot, third.generation), (2, 5));
        assert!(!third.cancel.load(Ordering::Relaxed));
        pictures.close();
        assert!(third.cancel.load(Ordering::Relaxed));
        assert!(pictures.next().is_none());
    }
}
