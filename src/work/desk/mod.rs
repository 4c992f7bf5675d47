//! What lies on the desk while a window is open: channels in memory, jobs that
//! run, and what they tell. Messages out, events in: the window waits for nothing.

mod job;

mod layer;

mod worker;

mod pictures;

mod tell;

mod run;

mod found;

mod recognise;

mod join;

mod open;

mod memory;

mod load;

mod prepare;

mod export;

mod balance;

mod draw;

mod parts;

mod suggest;

pub use job::{Drawing, Event, Job, RowState, Step, Ticket};
pub use layer::{Apart, Heights, Layer, LayerKey, Means, Parts, Teller, auto_stretch, keys};
pub use parts::{Layers, Wanted, forget, lacking};
pub use worker::Worker;
