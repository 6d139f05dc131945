# write-file PATH MODE OWNER (content on standard input): write beside the place, then rename; folders above are made.
# uses: own-folder
verb_write_file() {
    verb_own_folder "$1" || return 1
    # Always the same name beside it: what a power cut left there is taken away by the next run.
    v_new=$v_folder/.bedplate-new.${1##*/}
    rm -f -- "$v_new" || return 1
    if (set -C && umask 077 && cat >"$v_new") && chown "$3" "$v_new" && chmod "$2" "$v_new" && sync "$v_new" && mv -fT -- "$v_new" "$1"; then
        return 0
    fi
    rm -f -- "$v_new"
    printf 'could not write %s\n' "$1" >&2
    return 1
}
