# boot-files-note KEY BASE kept|new PATTERN...: note name and SHA-256 of what lies in BASE where one of the PATTERNs fits
# (`EFI/kelp/*`; `*` fits `/` as well), and that it is all there. kept: what was listed there before is not ours.
# uses: boot-files-found
verb_boot_files_note() {
    v_keep=$TARGET/var/lib/bedplate/boot v_key=$1 v_base=$2
    verb_boot_files_found "$@" || return 1
    # The list is made where names begin as in the list of before.
    (cd -- "$v_base" && while IFS= read -r v_file; do
        sha256sum -- "$v_file" || exit 1
    done) <"$WORK/boot-files" >"$v_keep/ours-$v_key.part" || return 1
    sync
    mv -f -- "$v_keep/ours-$v_key.part" "$v_keep/ours-$v_key.sha256" || return 1
    sync
    rm -f -- "$v_keep/making-$v_key" || return 1
    sync
}
