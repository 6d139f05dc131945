# --- runtime: words to the person, commands, checks -------------------------------------------------------------

# say TEXT: to the person and into the log.
say() {
    # The seconds of a running action stand at the beginning of the line.
    printf '%s%s\n' "${TICKING:+$CARRIAGE_RETURN}" "$*" >&4
    # A log that takes nothing more stops the next command of `run`, and is told there.
    [ -z "$LOG_OPEN" ] || printf '%s\n' "$*" >>"$LOG" || return 0
}

# streams_are_open: where no answer can be read, there is none; where nothing can be shown, nothing is begun.
streams_are_open() {
    { true 5<&0; } 2>/dev/null || exec </dev/null
    { true 5>&1; } 2>/dev/null && return 0
    printf 'Standard output is closed: nothing could be shown. Nothing was changed.\n' >&2
    exit 1
}

# wrong_use WORD OPTION...: name the word that is none of the options, and the nearest of them.
wrong_use() {
    r_wrong=$1 r_near='' r_most=0
    shift
    for r_option in "$@"; do
        r_left=${r_wrong#--} r_left=${r_left#-} r_other=${r_option#--} r_alike=0
        while [ -n "$r_left" ] && [ -n "$r_other" ] && [ "${r_left%"${r_left#?}"}" = "${r_other%"${r_other#?}"}" ]; do
            r_left=${r_left#?} r_other=${r_other#?} r_alike=$((r_alike + 1))
        done
        [ "$r_alike" -le "$r_most" ] || r_near=$r_option r_most=$r_alike
    done
    quote "$r_wrong"
    printf '%s: this is no word of this script%s\n\n' "$r_line" "${r_near:+ (nearest: $r_near)}" | plainly >&2
    usage >&2
    exit 2
}

# quote WORD...: set r_line to the words as they would be typed.
quote() {
    r_line=
    for r_word in "$@"; do
        case $r_word in
            '' | *[!A-Za-z0-9_@%+=:,./-]*)
                r_left=$r_word r_word=\'
                while [ "$r_left" != "${r_left#*\'}" ]; do
                    r_word="$r_word${r_left%%\'*}'\\''"
                    r_left=${r_left#*\'}
                done
                r_word="$r_word$r_left'"
                ;;
        esac
        r_line="$r_line${r_line:+ }$r_word"
    done
}

# quoted WORD...: print them so.
quoted() {
    quote "$@"
    printf '%s\n' "$r_line"
}

# plainly: standard input without control characters, fit for a terminal.
plainly() {
    tr '\000-\010\013-\037\177' ' '
}

# plain COMMAND...: a verb of this script, or the command of that name, even where the script has a function of the same.
plain() {
    case $1 in
        verb_* | in_target) "$@" ;;
        *) command "$@" ;;
    esac
}

# succeeds COMMAND...: a test; a silent failure is put into words.
succeeds() {
    plain "$@"
    r_status=$?
    [ "$r_status" -eq 0 ] && return 0
    printf 'exit status %s of: %s\n' "$r_status" "$(quoted "$@")"
    return 1
}

# prints exactly|line TEXT COMMAND...: a test; the output is TEXT, or has TEXT as a line.
prints() {
    r_how=$1 r_text=$2
    shift 2
    r_printed=$(plain "$@")
    r_status=$?
    if [ "$r_status" -ne 0 ]; then
        printf 'exit status %s of: %s\n' "$r_status" "$(quoted "$@")"
        return 1
    fi
    [ "$r_printed" != "$r_text" ] || return 0
    case $r_how:$NEW_LINE$r_printed$NEW_LINE in
        line:*"$NEW_LINE$r_text$NEW_LINE"*) return 0 ;;
    esac
    printf '%s\n' "$r_printed"
    return 1
}

# found: what the last test found, at most six lines, fit for a terminal.
found() {
    r_first='found:     ' r_count=0
    while [ "$r_count" -lt 6 ] && { IFS= read -r r_line || [ -n "$r_line" ]; }; do
        case $r_line in
            *[[:cntrl:]]*) r_line=$(printf '%s' "$r_line" | plainly) ;;
        esac
        printf '        %s%s\n' "$r_first" "$r_line"
        r_first='           ' r_count=$((r_count + 1))
    done <"$WORK/found"
}

# make_scratch: $WORK, a private folder that lies in memory: a secret must never touch a disk.
make_scratch() {
    for r_word in $SCRATCH; do
        case $(stat -f -c %T "$r_word" 2>/dev/null) in
            tmpfs | ramfs) ;;
            *) continue ;;
        esac
        WORK=$(mktemp -d "$r_word/bedplate.XXXXXXXX") || continue
        IN=$WORK/in
        (umask 077 && : >"$IN" && : >"$WORK/missed") || return 1
        return 0
    done
    say "No folder in memory was found among: $SCRATCH. Nothing was changed."
    return 1
}

# wipe_scratch: plain files only; nothing is ever deleted recursively, a verb may have mounted something below.
wipe_scratch() {
    # A stick, or a partition that a verb was looking at when it was cut off: left mounted, it would count as in use.
    # shellcheck disable=SC2013 # a word is a mount point of ours
    for r_point in $(sed -n "s|^[^ ]* \($WORK/[^ ]*\) .*|\1|p" /proc/self/mounts); do
        umount -- "$r_point" 2>/dev/null && rmdir -- "$r_point"
    done
    rm -f -- "$WORK"/* "$WORK"/seen/* 2>/dev/null
    rmdir -- "$WORK/seen" 2>/dev/null
    if grep -qF -e " $WORK ramfs " /proc/self/mounts; then
        umount -- "$WORK" 2>/dev/null
    fi
    rmdir -- "$WORK" 2>/dev/null
}
