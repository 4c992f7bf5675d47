//! What passes between the caller's threads and the one that writes.

use std::io;
use std::sync::Arc;
use std::sync::mpsc::Receiver;

use crate::engine::frame::{BAND_ROWS, Coded, CodedBand};

/// What goes to the writing thread.
pub(crate) enum Piece {
    /// Rows as they are.
    Rows(Arc<CodedBand>),
    /// Packed bands of `BAND_ROWS` rows (the last one may be lower), in order.
    Packed(Vec<Vec<u8>>),
    /// Nothing more comes, and what came was all.
    End,
}

/// The pieces of one picture as they come.
pub(crate) struct Pieces(Receiver<Piece>);

impl Pieces {
    /// As they come through a channel.
    pub(crate) fn new(come: Receiver<Piece>) -> Self {
        Self(come)
    }

    /// A whole picture at once.
    #[cfg(test)]
    pub(crate) fn of(pieces: Vec<Piece>) -> Self {
        let (sender, come) = std::sync::mpsc::sync_channel(pieces.len() + 1);
        for piece in pieces.into_iter().chain([Piece::End]) {
            sender.send(piece).expect("there is room");
        }
        Self(come)
    }

    /// The next piece; none at the end of the picture.
    ///
    /// # Errors
    /// Where the writer was dropped before the end.
    pub(crate) fn next(&mut self) -> io::Result<Option<Piece>> {
        match self.0.recv() {
            Ok(Piece::End) => Ok(None),
            Ok(piece) => Ok(Some(piece)),
            Err(_) => Err(io::Error::other("given up before the last row")),
        }
    }
}

/// [`BAND_ROWS`] rows of samples, or fewer at the bottom of the picture.
#[derive(Clone, Copy)]
pub(crate) enum Strip<'a> {
    U8(&'a [u8]),
    U16(&'a [u16]),
    F32(&'a [f32]),
}

impl<'a> Strip<'a> {
    /// Cuts bands into strips; `width` is in pixels.
    pub(crate) fn cut(bands: &'a [Arc<CodedBand>], width: usize) -> Vec<Self> {
        let length = width * 3 * BAND_ROWS;
        let mut strips = Vec::new();
        for band in bands {
            match &band.samples {
                Coded::U8(samples) => strips.extend(samples.chunks(length).map(Self::U8)),
                Coded::U16(samples) => strips.extend(samples.chunks(length).map(Self::U16)),
                Coded::F32(samples) => strips.extend(samples.chunks(length).map(Self::F32)),
            }
        }
        strips
    }
}
