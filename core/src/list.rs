//! A list of bounded length that stays within bounds whatever happens to the length in memory: one
//! that is too long reads as empty.

/// Up to `N` items in place.
#[derive(Clone, Copy, Debug)]
pub struct List<T, const N: usize> {
    items: [T; N],
    length: usize,
}

impl<T: Copy, const N: usize> List<T, N> {
    /// No items; the room is filled with `filler`.
    #[must_use]
    pub const fn empty(filler: T) -> Self {
        Self { items: [filler; N], length: 0 }
    }

    /// Replaces all items by `length` times `item`, by none where there is no room.
    pub fn refill(&mut self, item: T, length: usize) {
        self.length = if length <= N { length } else { 0 };
        self.fill(item);
    }

    /// Copies `items`; `None` when there are none or there is no room.
    #[must_use]
    pub const fn from_slice(items: &[T]) -> Option<Self> {
        let [first, ..] = items else { return None };
        let mut list = Self::empty(*first);
        let mut rest = items;
        while let [item, later @ ..] = rest {
            if list.push(*item).is_none() {
                return None;
            }
            rest = later;
        }
        Some(list)
    }

    /// Adds an item; `None` when there is no room.
    #[must_use]
    pub const fn push(&mut self, item: T) -> Option<()> {
        if self.length >= N {
            return None;
        }
        self.items[self.length] = item;
        self.length += 1;
        Some(())
    }

    /// All the room there is, items or not: of a length that no flipped bit changes.
    #[inline(always)]
    pub const fn room(&self) -> &[T; N] {
        &self.items
    }

    /// The same, to change.
    #[inline(always)]
    pub const fn room_mut(&mut self) -> &mut [T; N] {
        &mut self.items
    }

    /// Number of items.
    #[must_use]
    pub const fn len(&self) -> usize {
        if self.length <= N { self.length } else { 0 }
    }
}

impl<T, const N: usize> core::ops::Deref for List<T, N> {
    type Target = [T];
    #[inline(always)]
    fn deref(&self) -> &[T] {
        self.items.get(..self.length).unwrap_or(&[])
    }
}

impl<T, const N: usize> core::ops::DerefMut for List<T, N> {
    #[inline(always)]
    fn deref_mut(&mut self) -> &mut [T] {
        self.items.get_mut(..self.length).unwrap_or(&mut [])
    }
}
