//! One direction of the serial line: frames in their order, as many as it holds.

/// Frames that may be under way in one direction. More are lost, as on a line that nobody reads.
pub const PLACES: usize = 3;

/// Frames under way, the oldest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Way<M> {
    frames: [Option<M>; PLACES],
}

impl<M: Copy> Way<M> {
    /// Nothing under way.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            frames: [None; PLACES],
        }
    }

    /// Puts a frame behind the others; it is lost when there is no room.
    pub fn send(&mut self, message: M) {
        if let Some(place) = self.frames.iter_mut().find(|place| place.is_none()) {
            *place = Some(message);
        }
    }

    /// The oldest frame, which stays.
    #[must_use]
    pub fn first(&self) -> Option<M> {
        self.frames.first().copied().flatten()
    }

    /// Takes the oldest frame.
    pub fn take(&mut self) -> Option<M> {
        let first = self.first();
        self.frames.rotate_left(1);
        if let Some(last) = self.frames.last_mut() {
            *last = None;
        }
        first
    }

    /// Loses everything.
    pub fn clear(&mut self) {
        *self = Self::new();
    }

    /// Whether nothing is under way.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.first().is_none()
    }

    /// The frames under way.
    pub fn iter(&self) -> impl Iterator<Item = M> + '_ {
        self.frames.iter().copied().flatten()
    }
}

impl<M: Copy> Default for Way<M> {
    fn default() -> Self {
        Self::new()
    }
}
