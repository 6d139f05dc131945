# boot-files-begin KEY BASE FOLDER...: before files of ours come to BASE (an EFI system partition or $BOOT, mounted), note on
# the target's disk that this has begun, and which of the FOLDERs are not there yet, or came with a package of ours: they
# hold files, of which none was listed there before. KEY is the action's.
verb_boot_files_begin() {
    v_keep=$TARGET/var/lib/bedplate/boot v_key=$1 v_base=$2
    mkdir -p -- "$v_keep" || return 1
    shift 2
    if [ ! -e "$v_keep/folders-$v_key" ]; then
        for v_folder in "$@"; do
            if [ -e "$v_base/$v_folder" ]; then
                [ -n "$(find "$v_base/$v_folder" -type f)" ] || continue
                ! grep -Fqi -e "  ./$v_folder/" -- "$v_keep/esp.sha256" || continue
            fi
            printf '%s\n' "$v_folder"
        done >"$v_keep/folders-$v_key.part" || return 1
        sync
        mv -f -- "$v_keep/folders-$v_key.part" "$v_keep/folders-$v_key" || return 1
    fi
    : >"$v_keep/making-$v_key" || return 1
    sync
}
