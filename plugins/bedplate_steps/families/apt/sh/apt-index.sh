# apt-index RELEASE KEYRING (source list on standard input; empty: the medium's): every source has an index that is
# signed with a key that will be used and in its time, and that holds the lists of packages. Their names are left in
# "$WORK/index", for apt-offers.
# uses: apt-keyring apt-source-list date-words url-fetch
verb_apt_index() {
    verb_apt_source_list "$1" || return 1
    if ! command -v gpgv >/dev/null 2>&1; then
        printf 'the medium has no gpgv to verify a signature with\n' >&2
        return 1
    fi
    case $(uname -m) in
        aarch64) v_arch=arm64 ;;
        *) v_arch=amd64 ;;
    esac
    rm -f "$WORK/index"
    : >"$WORK/index.part" || return 1
    while read -r v_type v_rest <&5; do
        : "$v_type"
        v_options=
        case $v_rest in
            \[*) v_options="${v_rest%%]*}]" v_rest=${v_rest#*] } ;;
        esac
        read -r v_url v_suite v_components <<END_OF_ENTRY
$v_rest
END_OF_ENTRY
        v_place=${v_url%/}/dists/$v_suite
        apt_index_signed "$2" && apt_index_in_time || return 1
        for v_component in $v_components; do
            apt_index_names || return 1
        done
    done 5<"$WORK/apt-sources.list"
    mv -f -- "$WORK/index.part" "$WORK/index"
}

# apt_index_signed KEYRING: "$WORK/release" is the signed text at v_place.
apt_index_signed() {
    verb_apt_keyring "$1" || return 1
    rm -f "$WORK/release"
    if verb_url_fetch any "$v_place/InRelease" "$WORK/inrelease" 2>/dev/null; then
        v_what=InRelease
        gpgv --status-fd 1 --keyring "$WORK/keyring" --output "$WORK/release" "$WORK/inrelease" \
            >"$WORK/signature" 2>/dev/null
    else
        v_what=Release.gpg
        verb_url_fetch any "$v_place/Release" "$WORK/release" && verb_url_fetch any "$v_place/Release.gpg" \
            "$WORK/inrelease" || return 1
        gpgv --status-fd 1 --keyring "$WORK/keyring" "$WORK/inrelease" "$WORK/release" >"$WORK/signature" 2>/dev/null
    fi
    # GnuPG, doc/DETAILS: of several signatures one that is good is enough, and none may be bad.
    v_good='' v_bad='' v_old='' v_unknown=''
    while read -r _ v_word v_key v_more; do
        : "$v_more"
        case $v_word in
            GOODSIG) v_good=yes ;;
            BADSIG) v_bad=yes ;;
            EXPKEYSIG | REVKEYSIG | EXPSIG) v_old="$v_old $v_key" ;;
            NO_PUBKEY) v_unknown="$v_unknown $v_key" ;;
        esac
    done <"$WORK/signature"
    [ -z "$v_good" ] || [ -n "$v_bad" ] || [ ! -s "$WORK/release" ] || return 0
    if [ -n "$v_bad" ]; then
        printf '%s/%s was changed after it was signed\n' "$v_place" "$v_what" >&2
    elif [ -n "$v_old" ]; then
        printf '%s/%s: the key has expired or was withdrawn:%s; newer keys are needed on the medium (looked in:%s)\n' \
            "$v_place" "$v_what" "$v_old" "$v_looked" >&2
    elif [ -n "$v_unknown" ]; then
        printf '%s/%s: no key of the medium fits, it is signed with:%s (looked in:%s)\n' \
            "$v_place" "$v_what" "$v_unknown" "$v_looked" >&2
    else
        printf '%s/%s is no signed index; something else answers in its place, a login page of the network perhaps\n' \
            "$v_place" "$v_what" >&2
    fi
    return 1
}

# apt_index_in_time: made before now, and good until later (apt-secure(8); sources.list(5), Check-Valid-Until).
apt_index_in_time() {
    sed -nE 's/^(Date|Valid-Until): [A-Z][a-z]*, *([0-9]+ [A-Z][a-z][a-z] [0-9]+ [0-9:]+) .*/\1 \2/p' \
        "$WORK/release" >"$WORK/release-times" || return 1
    v_now=$(date +%s)
    while read -r v_word v_time; do
        # shellcheck disable=SC2086 # four words
        v_stamp=$(verb_date_words $v_time) || return 1
        case $v_word in
            Date) [ "$v_stamp" -gt "$((v_now + 86400))" ] || continue ;;
            *) [ "$v_stamp" -lt "$v_now" ] || continue ;;
        esac
        printf 'the index of %s has %s %s, and the clock shows %s: one of both is wrong\n' \
            "$v_place" "$v_word" "$v_time" "$(date -u '+%d %b %Y %H:%M:%S')" >&2
        return 1
    done <"$WORK/release-times"
}

# apt_index_names: the names of v_component, from a list whose checksum the signed text has.
apt_index_names() {
    v_list=$v_component/binary-$v_arch/Packages
    for v_end in .xz .gz ''; do
        case $v_end in
            .xz) v_unpack=xz ;;
            .gz) v_unpack=gzip ;;
            '') v_unpack='cat' ;;
        esac
        command -v "$v_unpack" >/dev/null 2>&1 || continue
        v_row=$(grep -F -e " $v_list$v_end" "$WORK/release" | grep -E '^ [0-9a-f]{64} ' | grep -e "Packages$v_end\$")
        [ -z "$v_row" ] || break
    done
    if [ -z "$v_row" ]; then
        printf '%s has no component %s for %s\n' "$v_place" "$v_component" "$v_arch" >&2
        return 1
    fi
    verb_url_fetch any "$v_place/$v_list$v_end" "$WORK/list" || return 1
    v_sum=$(sha256sum <"$WORK/list") || return 1
    v_row=${v_row# }
    if [ "${v_sum%% *}" != "${v_row%% *}" ]; then
        printf '%s/%s%s is not what the signed index says\n' "$v_place" "$v_list" "$v_end" >&2
        return 1
    fi
    [ "$v_unpack" = cat ] || v_unpack="$v_unpack -dc"
    # shellcheck disable=SC2086 # a command and its option
    $v_unpack <"$WORK/list" | sed -n 's/^Package: //p; /^Provides: /p' >>"$WORK/index.part" || return 1
    rm -f "$WORK/list"
}
