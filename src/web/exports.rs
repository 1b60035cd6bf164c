//! What the page finds in the compiled library.
#![allow(
    unsafe_code,
    reason = "only for the names of the exports; no memory is touched by address here"
)]

use std::cell::RefCell;

use super::Core;

#[derive(Default)]
struct Door {
    core: Core,
    request: Vec<u8>,
    reply: Vec<u8>,
}

thread_local! {
    static DOOR: RefCell<Door> = RefCell::default();
}

/// Makes room for a request of `n_bytes`; where to write it.
#[unsafe(no_mangle)]
extern "C" fn farcone_room(n_bytes: usize) -> *mut u8 {
    DOOR.with_borrow_mut(|door| {
        door.reply = vec![];
        door.request = vec![0; n_bytes];
        door.request.as_mut_ptr()
    })
}

/// Answers the request that was written; where the reply is, until the next call.
#[unsafe(no_mangle)]
extern "C" fn farcone_answer() -> *const u8 {
    DOOR.with_borrow_mut(|door| {
        let request = std::mem::take(&mut door.request);
        door.reply = door.core.answer(&request);
        door.reply.as_ptr()
    })
}

/// How many bytes the reply has.
#[unsafe(no_mangle)]
extern "C" fn farcone_length() -> usize {
    DOOR.with_borrow(|door| door.reply.len())
}
