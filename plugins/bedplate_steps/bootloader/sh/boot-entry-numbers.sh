# boot-entry-numbers PARTUUID LOADER: print the number of every active boot entry that starts LOADER (\EFI\...\x.efi) from
# that partition, one a line. The variables are read as they are: a tool's listing differs from version to version.
# EFI_LOAD_OPTION: attributes, length, title, device path (UEFI 2.10, 3.1.3); hard drive node 4/1, file path node 4/4
# (10.3.5.1 and 10.3.5.4); a GUID has its first three fields low byte first.
verb_boot_entry_numbers() {
    [ "${v_sought-}" = "$1 $2" ] || verb_boot_entry_numbers_seek "$1" "$2"
    for v_file in /sys/firmware/efi/efivars/Boot[0-9A-F][0-9A-F][0-9A-F][0-9A-F]-8be4df61-93ca-11d2-aa0d-00e098032b8c; do
        [ -e "$v_file" ] || continue
        v_bytes=$(od -An -v -tx1 "$v_file") || return 1
        # shellcheck disable=SC2086 # joined: a word is a byte
        v_hex=$(printf '%s' $v_bytes)
        case $v_hex in
            ????????[0-9a-f][13579bdf]*"04012a00"????????????????????????????????????????"${v_sought_guid}02020404"*) ;;
            *) continue ;;
        esac
        v_rest=${v_hex#*"${v_sought_guid}02020404"????}
        # Four hex digits are one character; names on FAT are compared without case.
        v_found=$(printf '%s' "${v_rest%%00007fff0400*}" | sed 's/..../& /g
s/4\([1-9a-f]\)00 /6\100 /g
s/5\([0-9a]\)00 /7\100 /g')
        [ "$v_found" = "$v_sought_path" ] || continue
        v_number=${v_file##*/Boot}
        printf '%s\n' "${v_number%%-*}"
    done
}

# What is sought as hex digits: the GUID in v_sought_guid, the path of lower-case letters, two bytes each, in v_sought_path.
verb_boot_entry_numbers_seek() {
    v_sought_guid=$(printf '%s' "$1" | sed 's/^\(..\)\(..\)\(..\)\(..\)-\(..\)\(..\)-\(..\)\(..\)-/\4\3\2\1\6\5\8\7/
y/ABCDEF/abcdef/
s/-//g')
    v_sought_path=$(printf '%s' "$2" | od -An -v -tx1 | sed 's/ 4\([1-9a-f]\)/ 6\1/g
s/ 5\([0-9a]\)/ 7\1/g
s/ \(..\)/\100 /g')
    # shellcheck disable=SC2086 # the lines of od are joined
    v_sought_path=$(printf '%s ' $v_sought_path)
    v_sought="$1 $2"
}
