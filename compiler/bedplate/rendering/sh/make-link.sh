# make-link PATH TO: the symbolic link PATH points to TO; a link or plain file that stands there is replaced.
# uses: own-folder
verb_make_link() {
    if [ -d "$1" ] && [ ! -L "$1" ]; then
        printf '%s is a folder; it is not replaced by a link\n' "$1" >&2
        return 1
    fi
    verb_own_folder "$1" || return 1
    if [ -e "$v_folder/.bedplate-link" ] || [ -L "$v_folder/.bedplate-link" ]; then
        rm -f -- "$v_folder/.bedplate-link" || return 1
    fi
    ln -s -- "$2" "$v_folder/.bedplate-link" || return 1
    mv -fT -- "$v_folder/.bedplate-link" "$1" || return 1
}
