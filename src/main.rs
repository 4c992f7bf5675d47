//! The program: arguments in, exit code out.

fn main() -> std::process::ExitCode {
    let args: Vec<_> = std::env::args_os().skip(1).collect();
    if args
        .first()
        .is_some_and(|arg| arg == linehue::io::read::fits::DECODE_COMMAND)
    {
        let code = linehue::io::read::fits::decode_child(&args[1..]);
        return u8::try_from(code).unwrap_or(2).into();
    }
    std::process::ExitCode::SUCCESS
}
