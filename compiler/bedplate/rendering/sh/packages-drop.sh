# packages-drop FAMILY PACKAGE...: remove the packages from the running machine, with what only they had brought along.
# What nobody needed before either is not theirs, and stays.
# uses: apt-leaving
verb_packages_drop() {
    v_family=$1
    shift
    case $v_family in
        apt)
            verb_apt_leaving "$@" || return 1
            v_names=$(tr '\n' ' ' <"$WORK/leaving")
            [ -n "$v_names" ] || return 0
            # shellcheck disable=SC2086 # names, one word each
            in_target DEBIAN_FRONTEND=noninteractive apt-get -q -y --purge remove -- $v_names || return 1
            ;;
        pacman)
            for v_package in "$@"; do
                ! in_target pacman -Qq -- "$v_package" >/dev/null 2>&1 ||
                    in_target env LC_ALL=C.UTF-8 pacman -Rns --noconfirm -- "$v_package" || return 1
            done
            ;;
        dnf) in_target dnf -y remove "$@" || return 1 ;;
        *) return 1 ;;
    esac
}
