# apt-source-offers RELEASE COMPONENT: a source of the list (standard input; empty: the medium's) has that component.
# uses: apt-source-list
verb_apt_source_offers() {
    verb_apt_source_list "$1" || return 1
    while read -r v_line; do
        case " $v_line " in
            *" $2 "*) return 0 ;;
        esac
    done <"$WORK/apt-sources.list"
    printf 'no source for %s has the component %s\n' "$1" "$2" >&2
    return 1
}
