# apt-source-reachable TRUST RELEASE: every source of the list (standard input; empty: the medium's) answers.
# uses: apt-source-list url-answers
verb_apt_source_reachable() {
    verb_apt_source_list "$2" || return 1
    while read -r v_type v_rest; do
        : "$v_type"
        case $v_rest in
            \[*) v_rest=${v_rest#*] } ;;
        esac
        read -r v_url v_suite v_components <<END_OF_ENTRY
$v_rest
END_OF_ENTRY
        : "$v_components"
        v_place=${v_url%/}/dists/$v_suite
        verb_url_answers "$1" "$v_place/InRelease" 2>/dev/null && continue
        verb_url_answers "$1" "$v_place/Release" || return 1
    done <"$WORK/apt-sources.list"
}
