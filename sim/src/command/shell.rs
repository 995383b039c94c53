//! `turntally completions` and `turntally man`: made from the same definitions as the program itself.

use clap::Command;
use clap_complete::Shell;

use crate::failure::Failure;
use crate::files::output;

/// Print the completions for a shell
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
Examples:
  turntally completions bash > ~/.local/share/bash-completion/completions/turntally
  turntally completions zsh > ~/.zfunc/_turntally
  turntally completions fish > ~/.config/fish/completions/turntally.fish")]
pub struct CompletionsArgs {
    /// The shell
    pub shell: Shell,
}

/// Print the manual page of the program, or of one of its commands
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
Examples:
  turntally man > turntally.1
  turntally man size > turntally-size.1
  turntally man link send | man -l -")]
pub struct ManArgs {
    /// The command to describe, and a command of it [default: the program]
    #[arg(value_name = "COMMAND")]
    pub command: Vec<String>,
}

/// Prints completions of the program.
///
/// # Errors
/// Where standard output cannot be written.
pub fn completions(mut program: Command, args: &CompletionsArgs) -> Result<(), Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut program, "turntally", &mut script);
    output::print(&String::from_utf8_lossy(&script))
}

/// Prints a manual page of the program, or of one of its commands.
///
/// # Errors
/// One line for a command that does not exist.
pub fn man(mut program: Command, args: &ManArgs) -> Result<(), Failure> {
    // Gives every command its full name and the options that hold everywhere.
    program.build();
    let mut command = &program;
    for name in &args.command {
        command = command.find_subcommand(name).ok_or_else(|| {
            let names: Vec<&str> = command.get_subcommands().map(Command::get_name).collect();
            let why = match &*names {
                [] => format!("{} has no commands of its own", command.get_name()),
                names => format!("no such command: {} are allowed", names.join(", ")),
            };
            Failure::value("COMMAND", name.escape_debug(), why)
        })?;
    }
    let mut page = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut page)?;
    output::print(&String::from_utf8_lossy(&page))
}
