//! How a call went.

/// Done.
pub const QUIETGAP_OK: i32 = 0;
/// A pointer is null.
pub const QUIETGAP_NULL: i32 = 1;
/// Memory is too small, or does not begin at a multiple of the alignment.
pub const QUIETGAP_MEMORY: i32 = 2;
/// There was no room for all that was made: the rest is lost.
pub const QUIETGAP_ROOM: i32 = 3;

/// The object that `memory` holds, begun as `new` says.
///
/// # Safety
/// `memory` is null, or points to `bytes` bytes that nothing else uses.
pub(crate) unsafe fn place<T>(
    memory: *mut core::ffi::c_void,
    bytes: usize,
    new: T,
) -> Result<*mut T, i32> {
    let place: *mut T = memory.cast();
    if place.is_null() {
        return Err(QUIETGAP_NULL);
    }
    if bytes < size_of::<T>() || !place.is_aligned() {
        return Err(QUIETGAP_MEMORY);
    }
    // Safety: long enough, aligned, and the caller's promise.
    unsafe { place.write(new) };
    Ok(place)
}
