//! The program: arguments in, exit code out.

use std::process::ExitCode;

use linehue::io::read::fits;

fn main() -> ExitCode {
    let args: Vec<_> = std::env::args_os().skip(1).collect();
    // A reader of compressed files runs in a process of its own: see there.
    if args.first().is_some_and(|arg| arg == fits::DECODE_COMMAND) {
        let code = fits::decode_child(&args[1..]);
        return u8::try_from(code).unwrap_or(2).into();
    }
    linehue::cli::main()
}
