# --- runtime: secrets. They live in memory only, in $WORK, mode 0600; never on a command line, never in the log. ----

# secret NAME: print it.
secret() {
    [ "$MODE" = show ] || cat "$WORK/secret-$1"
}

# secret_for_key_file NAME: print it with backslashes and the outer blanks escaped (Desktop Entry Specification).
secret_for_key_file() {
    [ "$MODE" = show ] || sed -e 's/\\/\\\\/g' -e 's/^ /\\s/' -e 's/ $/\\s/' "$WORK/secret-$1"
}

# ask_secret NAME PROMPT MIN MAX: twice, without echo, until both are the same and fit.
ask_secret() {
    [ ! -f "$WORK/secret-$1" ] || return 0
    r_tries=0
    while [ "$r_tries" -lt 5 ]; do
        r_tries=$((r_tries + 1))
        hidden_answer "$2: " || return 1
        r_first=$ANSWER
        secret_fits "$r_first" "$3" "$4" || continue
        hidden_answer "$2 (again): " || return 1
        if [ "$ANSWER" = "$r_first" ]; then
            keep_secret "$1" "$r_first"
            return
        fi
        say 'The two are not the same.'
    done
    say 'Given up after five attempts.'
    return 1
}

# read_secret NAME PROMPT MIN MAX FILE: from a file on the medium; its first line, without the line end.
read_secret() {
    [ ! -f "$WORK/secret-$1" ] || return 0
    ANSWER=
    if ! [ -r "$5" ] || { ! IFS= read -r ANSWER <"$5" && [ -z "$ANSWER" ]; }; then
        say "$2: nothing can be read from $5."
        return 1
    fi
    ANSWER=${ANSWER%"$CARRIAGE_RETURN"}
    secret_fits "$ANSWER" "$3" "$4" || return 1
    keep_secret "$1" "$ANSWER"
}

keep_secret() {
    if ! (umask 077 && printf '%s' "$2" >"$WORK/secret-$1"); then
        say "The secret could not be kept in memory: $WORK takes nothing more."
        return 1
    fi
    ANSWER='' r_first=''
}

# secret_fits TEXT MIN MAX: it has to be typed on other keyboards later, so only printable ASCII is taken.
secret_fits() {
    case $1 in
        *[!\ -~]*)
            say 'Only printable ASCII characters can be used here.'
            return 1
            ;;
    esac
    if [ "${#1}" -lt "$2" ] || [ "${#1}" -gt "$3" ]; then
        say "It must be $2 to $3 characters long; it has ${#1}."
        return 1
    fi
}

hidden_answer() {
    if [ -t 3 ]; then
        if ! TERMINAL=$(stty -g <&3) || ! stty -echo <&3; then
            say 'This terminal cannot be told to hide what is typed: run the script on another one.'
            return 1
        fi
        answer "$1"
        r_status=$?
        show_typing
        printf '\n' >&4
        return "$r_status"
    fi
    answer "$1"
}

# show_typing: give the terminal back as it was.
show_typing() {
    [ -z "$TERMINAL" ] || stty "$TERMINAL" <&3
    TERMINAL=
}
