# line-in FILE LINE: the file has exactly that line. By the shell alone: short files are looked at often, and on slow
# machines the start of a program takes longer than the look.
verb_line_in() {
    while IFS= read -r v_each || [ -n "$v_each" ]; do
        [ "$v_each" != "$2" ] || return 0
    done <"$1"
    return 1
}
