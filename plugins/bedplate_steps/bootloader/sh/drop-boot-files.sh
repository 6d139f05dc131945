# drop-boot-files KEY BASE kept|new PATTERN...: remove from BASE what the action of that KEY has put there: what is still as it
# was noted; what also lies in the new system itself, byte for byte; an entry that starts it; and where the action was cut
# short, what the PATTERNs fit. Of folders, those that it made, once they are empty. Everything else is left, and its folder.
# A file that another boot entry starts (drop-boot-entry) is left as well.
# uses: also-in-target boot-files-found leave
verb_drop_boot_files() {
    v_keep=$TARGET/var/lib/bedplate/boot v_key=$1 v_base=$2
    # Nothing of ours has been put there where nothing was begun.
    [ -e "$v_keep/folders-$v_key" ] && [ -d "$v_base" ] || return 0
    verb_boot_files_found "$@" || return 1
    v_seed=
    while IFS= read -r v_file; do
        case $v_file in
            # The loader writes it anew at each start (systemd-boot(7)): it goes with the last file of ours.
            */random-seed) v_seed=$v_file ;;
            *)
                if verb_boot_file_is_ours; then
                    rm -f -- "$v_base/$v_file" || return 1
                else
                    verb_leave "$v_base/${v_file#./}: it is not what this script put there" || return 1
                fi
                ;;
        esac
    done <"$WORK/boot-files"
    if [ -n "$v_seed" ] && [ -z "$(cd -- "$v_base/${v_seed%/*}" && find . -type f ! -name random-seed)" ]; then
        rm -f -- "$v_base/$v_seed" || return 1
    fi
    while IFS= read -r v_folder; do
        [ ! -d "$v_base/$v_folder" ] ||
            find "$v_base/$v_folder" -depth -type d -exec rmdir -- {} + 2>"$WORK/not-empty" || :
    done <"$v_keep/folders-$v_key"
    sync
}

verb_boot_file_is_ours() {
    [ ! -e "$WORK/boot-started" ] || ! grep -Fqix -e "$v_file" "$WORK/boot-started" || return 1
    [ ! -e "$v_keep/making-$v_key" ] || return 0
    v_sum=$(cd -- "$v_base" && sha256sum -- "$v_file") || return 1
    [ ! -e "$v_keep/ours-$v_key.sha256" ] || ! grep -Fqix -e "$v_sum" "$v_keep/ours-$v_key.sha256" || return 0
    case $v_file in
        */entries/*.conf) verb_boot_entry_names_root && return 0 ;;
    esac
    # An update of the new system's own brought it.
    verb_also_in_target "$v_base/$v_file" "$v_base"
}

# The entry's words for the kernel name the new system's partition, or what lies on it.
verb_boot_entry_names_root() {
    while read -r v_guid _ _ _ _ v_uuid v_root _; do
        [ "$v_root" = root ] || continue
        grep -qi -e "^options.*$v_uuid" -e "^options.*$v_guid" -- "$v_base/$v_file" && return 0
    done <<END_OF_ROWS
${OUR_ROWS-}
END_OF_ROWS
    return 1
}
