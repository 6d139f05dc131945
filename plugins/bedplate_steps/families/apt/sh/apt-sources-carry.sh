# apt-sources-carry RELEASE: the medium's network sources for RELEASE become the target's, with the keys they name.
# uses: apt-source-list write-file
verb_apt_sources_carry() {
    verb_apt_source_list "$1" </dev/null || return 1
    while read -r v_type v_rest; do
        : "$v_type"
        case $v_rest in
            *signed-by=*) v_key=${v_rest#*signed-by=} v_key=${v_key%%]*} v_key=${v_key%% *} ;;
            *) continue ;;
        esac
        [ -e "$TARGET$v_key" ] || verb_write_file "$TARGET$v_key" 644 0:0 <"$v_key" || return 1
    done <"$WORK/apt-sources.list"
    verb_write_file "$TARGET/etc/apt/sources.list" 644 0:0 <"$WORK/apt-sources.list" || return 1
}
