//! Pieces of the library by themselves, where no test of the whole sees each. They stand here and not in the library, which
//! would be compiled once more for them.

mod numbers;
mod texts;
