# guid-on-disk GUID: set v_guid to it as hex digits in the order in which it lies on a disk: its first three fields low byte
# first (UEFI specification, appendix A).
# shellcheck disable=SC2034 # read by the verbs that use this one
verb_guid_on_disk() {
    v_guid=$(printf '%s' "$1" | tr 'A-F' 'a-f' |
        sed 's/^\(..\)\(..\)\(..\)\(..\)-\(..\)\(..\)-\(..\)\(..\)-/\4\3\2\1\6\5\8\7/' | tr -d '-')
}
