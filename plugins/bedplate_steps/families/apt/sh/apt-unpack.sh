# apt-unpack RELEASE KEYRING: a minimal apt system in the target, with the tool the medium has. The source list comes on
# standard input (empty: the medium's); KEYRING may be empty.
# uses: apt-bootstrap-tool apt-source-list
verb_apt_unpack() {
    verb_apt_source_list "$1" || return 1
    v_tool=$(verb_apt_bootstrap_tool) || return 1
    if [ "$v_tool" = mmdebstrap ]; then
        # The target has mount points and a mark in it, and was looked at before: its own test of emptiness is left out.
        mmdebstrap --mode=root --variant=debootstrap --format=directory --skip=check/empty \
            ${2:+"--keyring=$2"} "$1" "$TARGET" "$WORK/apt-sources.list" </dev/null || return 1
    else
        apt_debootstrap "$1" "$2" </dev/null || return 1
    fi
    # The tool leaves copies of the medium's own name and name servers, and a source list under its own name.
    rm -f "$TARGET/etc/resolv.conf" "$TARGET/etc/hostname" || return 1
    for v_file in "$TARGET"/etc/apt/sources.list.d/*; do
        [ ! -f "$v_file" ] || rm -f -- "$v_file" || return 1
    done
    : >"$TARGET/etc/machine-id" || return 1
}

# apt_debootstrap RELEASE KEYRING: with the first source of the list that serves the release itself. Without
# --force-check-gpg a missing keyring would only be a warning.
apt_debootstrap() {
    while read -r v_type v_rest; do
        : "$v_type"
        case $v_rest in
            \[*) v_rest=${v_rest#*] } ;;
        esac
        read -r v_url v_suite v_components <<END_OF_ENTRY
$v_rest
END_OF_ENTRY
        [ "$v_suite" = "$1" ] || continue
        v_components=$(printf '%s' "$v_components" | tr ' ' ',')
        debootstrap --force-check-gpg --components="$v_components" ${2:+"--keyring=$2"} "$1" "$TARGET" "$v_url"
        return
    done <"$WORK/apt-sources.list"
    printf 'no source of the list serves %s itself\n' "$1" >&2
    return 1
}
