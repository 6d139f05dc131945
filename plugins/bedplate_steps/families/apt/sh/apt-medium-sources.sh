# apt-medium-sources RELEASE FOLDER: prints, as one-line entries, the sources for RELEASE, its updates and its security
# updates that the apt configuration in FOLDER (/etc/apt) names. Only network sources: others end with the medium.
verb_apt_medium_sources() {
    for v_file in "$2/sources.list" "$2"/sources.list.d/*.list; do
        [ -f "$v_file" ] || continue
        while read -r v_type v_rest || [ -n "$v_type" ]; do
            [ "$v_type" = deb ] || continue
            v_options=
            case $v_rest in
                \[*) v_options="${v_rest%%]*}] " v_rest=${v_rest#*]} ;;
            esac
            read -r v_url v_suite v_components <<END_OF_ENTRY
${v_rest%%#*}
END_OF_ENTRY
            apt_entry "$1"
        done <"$v_file"
    done
    for v_file in "$2"/sources.list.d/*.sources; do
        [ -f "$v_file" ] || continue
        apt_stanza_begin
        while IFS= read -r v_line || [ -n "$v_line" ]; do
            apt_stanza_line "$1"
        done <"$v_file"
        apt_stanza_end "$1"
    done
}

# apt_entry RELEASE: print the entry in v_options, v_url, v_suite, v_components if it serves RELEASE.
apt_entry() {
    case $v_url in
        http://* | https://*) ;;
        *) return 0 ;;
    esac
    case $v_suite in
        "$1" | "$1-updates" | "$1-security" | "$1/updates")
            printf 'deb %s%s %s %s\n' "$v_options" "$v_url" "$v_suite" "$v_components"
            ;;
    esac
}

# A stanza of sources.list(5), DEB822-STYLE FORMAT: key and value a line, ended by an empty line.
apt_stanza_begin() {
    v_types='' v_urls='' v_suites='' v_components='' v_signed='' v_enabled=yes
}

apt_stanza_line() {
    v_value=${v_line#*:}
    v_value=${v_value# }
    case $v_line in
        '') apt_stanza_end "$1" ;;
        [Tt]ypes:*) v_types=$v_value ;;
        URIs:* | [Uu]ris:*) v_urls=$v_value ;;
        [Ss]uites:*) v_suites=$v_value ;;
        [Cc]omponents:*) v_components=$v_value ;;
        [Ss]igned-[Bb]y:*) v_signed=$v_value ;;
        [Ee]nabled:*) v_enabled=$v_value ;;
    esac
}

apt_stanza_end() {
    v_options=
    case $v_signed in
        /*) v_options="[signed-by=$v_signed] " ;;
    esac
    case " $v_types / $v_enabled" in
        *' deb '*'/ yes' | *' deb '*'/ true')
            for v_url in $v_urls; do
                for v_suite in $v_suites; do
                    apt_entry "$1"
                done
            done
            ;;
    esac
    apt_stanza_begin
}
