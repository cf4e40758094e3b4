"""`mouldply completion`: commands and options for the shell's Tab key, from the parser itself."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator

HELP = """\
Print what the shell needs to complete commands and options with the Tab key.

  bash   mouldply completion bash > ~/.local/share/bash-completion/completions/mouldply
  zsh    mouldply completion zsh > ~/.zfunc/_mouldply     with fpath+=~/.zfunc in .zshrc
  fish   mouldply completion fish > ~/.config/fish/completions/mouldply.fish
"""

Commands = dict[str, argparse.ArgumentParser]


def add_parsers(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
) -> None:
    """Add the command; it completes whatever is added beside it."""
    completion = commands.add_parser(
        "completion",
        help="Tab completion for your shell",
        description=HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    completion.add_argument("shell", choices=tuple(SHELLS))

    def print_script(given: argparse.Namespace) -> int:
        helps = {one.dest: one.help or "" for one in commands._choices_actions}
        print(SHELLS[given.shell](dict(commands.choices), helps), end="")
        return 0

    completion.set_defaults(command=print_script)


def options_of(parser: argparse.ArgumentParser) -> Iterator[tuple[str, argparse.Action]]:
    """Yield a command's long options with what they do; hidden ones left out."""
    for action in parser._actions:
        if action.help == argparse.SUPPRESS:
            continue
        for word in action.option_strings:
            if word.startswith("--"):
                yield word, action


def values_of(action: argparse.Action) -> list[str]:
    """Return the words an option or argument takes, where they are a fixed few."""
    if action.choices is not None:
        return [str(choice) for choice in action.choices]
    if {"--cloth", "--mat"} & set(action.option_strings):
        from ..cloth.library import load_fabrics

        every = load_fabrics().values()
        mats = "--mat" in action.option_strings
        return sorted(one.id for one in every if one.kind == "mat" or not mats)
    return []


def _words_of(parser: argparse.ArgumentParser) -> list[str]:
    """Return what may stand in a command's first free place."""
    return [word for action in parser._actions if not action.option_strings
            for word in values_of(action)]  # fmt: skip


def bash(commands: Commands, helps: dict[str, str]) -> str:
    """Return a completion script for bash."""
    cases = []
    for name, parser in commands.items():
        words = " ".join([word for word, _ in options_of(parser)] + _words_of(parser))
        cases.append(f'    {name}) words="{words}" ;;')
    values = [
        f'    {name}:{word}) words="{" ".join(values_of(action))}"; mine=1 ;;'
        for name, parser in commands.items()
        for word, action in options_of(parser)
        if values_of(action)
    ]
    return "\n".join(
        [
            "_mouldply() {",
            '  local here="${COMP_WORDS[COMP_CWORD]}" before="${COMP_WORDS[COMP_CWORD-1]}"',
            '  local command="${COMP_WORDS[1]}" words="" mine=""',
            '  if [ "$COMP_CWORD" -eq 1 ]; then',
            f'    COMPREPLY=($(compgen -W "{" ".join(commands)} --help --version" -- "$here"))',
            "    return",
            "  fi",
            '  case "$command" in',
            *cases,
            "  esac",
            '  case "$command:$before" in',
            *(values or ["    -) ;;"]),
            "  esac",
            '  COMPREPLY=($(compgen -W "$words" -- "$here"))',
            '  [ -n "$mine" ] || COMPREPLY+=($(compgen -f -- "$here"))',
            "}",
            "complete -o filenames -F _mouldply mouldply",
            "",
        ]
    )


def zsh(commands: Commands, helps: dict[str, str]) -> str:
    """Return a completion function for zsh."""
    lines = ["#compdef mouldply", "_mouldply() {", "  local -a commands", "  commands=("]
    lines += [f"    '{name}:{_plain(helps.get(name, ''))}'" for name in commands]
    lines += [
        "  )",
        "  if (( CURRENT == 2 )); then _describe command commands; return; fi",
        "  local command=$words[2]",
        '  words=("mouldply $command" ${words[3,-1]}); (( CURRENT-- ))',
        "  case $command in",
    ]
    for name, parser in commands.items():
        specs = []
        for word, action in options_of(parser):
            taken = "" if action.nargs == 0 else f":value:{_zsh_values(action)}"
            specs.append(f"'{word}[{_plain(action.help)}]{taken}'")
        free = " ".join(_words_of(parser))
        specs.append(f"'*:argument:{f'({free})' if free else '_files'}'")
        lines.append(f"    {name}) _arguments {' '.join(specs)} ;;")
    return "\n".join([*lines, "  esac", "}", '_mouldply "$@"', ""])


def fish(commands: Commands, helps: dict[str, str]) -> str:
    """Return completions for fish."""
    lines = [
        f"complete -c mouldply -n __fish_use_subcommand -f -a {name} -d '{_plain(helps.get(name))}'"
        for name in commands
    ]
    for name, parser in commands.items():
        seen = f"-n '__fish_seen_subcommand_from {name}'"
        for word, action in options_of(parser):
            values = values_of(action)
            taken = "" if action.nargs == 0 else f" -x -a '{' '.join(values)}'" if values else " -r"
            lines.append(
                f"complete -c mouldply {seen} -l {word[2:]}{taken} -d '{_plain(action.help)}'"
            )
        if _words_of(parser):
            lines.append(f"complete -c mouldply {seen} -f -a '{' '.join(_words_of(parser))}'")
    return "\n".join([*lines, ""])


SHELLS: dict[str, Callable[[Commands, dict[str, str]], str]] = {
    "bash": bash,
    "zsh": zsh,
    "fish": fish,
}


def _zsh_values(action: argparse.Action) -> str:
    values = values_of(action)
    return f"({' '.join(values)})" if values else "_files"


def _plain(text: str | None) -> str:
    """Return help text without what shells take as their own."""
    return "".join(char for char in text or "" if char not in "'\"`$\\:[]()")
