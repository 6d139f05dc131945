# write-file PATH MODE OWNER (content on standard input): write beside the place, then rename; folders above are made.
# A file of somebody else than root is written as that person, inside the target: what they may have put in its way can
# lead nowhere that they could not write to themselves (setpriv(1)).
# uses: own-folder
verb_write_file() {
    case ${OWN_IDS-}:$3 in
        0:*:0:* | [!0]*) ;;
        0:*:[0-9]*)
            verb_write_file_as "$@"
            return
            ;;
    esac
    verb_own_folder "$1" || return 1
    # Always the same name beside it: what a power cut left there is taken away by the next run.
    v_new=$v_folder/.bedplate-new.${1##*/}
    if [ -e "$v_new" ] || [ -L "$v_new" ]; then
        rm -f -- "$v_new" || return 1
    fi
    if (set -C && umask 077 && cat >"$v_new") && verb_write_file_owner "$3" "$v_new" && chmod "$2" "$v_new" &&
        sync "$v_new" && mv -fT -- "$v_new" "$1"; then
        return 0
    fi
    rm -f -- "$v_new"
    printf 'could not write %s\n' "$1" >&2
    return 1
}

verb_write_file_as() {
    # shellcheck disable=SC2016 # the inner shell's own
    in_target setpriv --reuid "${3%%:*}" --regid "${3#*:}" --clear-groups sh -c 'umask 077
        v_new=${1%/*}/.bedplate-new.${1##*/}
        mkdir -p -- "${1%/*}" && rm -f -- "$v_new" && (set -C && cat >"$v_new") && chmod "$2" "$v_new" &&
            sync "$v_new" && mv -fT -- "$v_new" "$1" && exit
        rm -f -- "$v_new"
        exit 1' sh "${1#"$TARGET"}" "$2" && return 0
    printf 'could not write %s as its owner, %s\n' "$1" "$3" >&2
    return 1
}

# chown(1) is started only where the file is not its owner's already: a file is made as the user and the group of the
# shell, but for a folder that hands on its own group.
verb_write_file_owner() {
    # shellcheck disable=SC3067 # beyond POSIX; where a shell does not know -O and -G, chown is started
    if [ "$1" = "${OWN_IDS-}" ] && [ -O "$2" ] && [ -G "$2" ]; then
        return 0
    fi 2>/dev/null
    chown "$1" "$2"
}
