# fat-ready PARTUUID NODE: make a FAT volume fit to be mounted for writing. One of our own is mended. A kept one never is,
# only its mark of not being unmounted is cleared; unless an earlier run of ours was cut off while it was mounted: then
# fsck.fat may mend it if every foreign file is as it was listed first, and if each still is afterwards.
# uses: esp-look fat-clear fat-read files-as-listed foreign-list ours-in-table
verb_fat_ready() {
    verb_fat_read "$2"
    [ "$v_fat" != whole ] || return 0
    cat "$WORK/fat"
    case " ${OUR_PARTITIONS-} " in
        *" $1 "*)
            say '    Our EFI system partition was not unmounted cleanly; its file system is mended.'
            fsck.fat -a "$2"
            verb_fat_read "$2"
            [ "$v_fat" != faults ] || say "    The file system check of $2 found faults; the log names them."
            return 0
            ;;
    esac
    if [ "$v_fat" = dirty ]; then
        verb_fat_clear "$2"
        return
    fi
    if ! verb_ours_in_table || ! verb_foreign_list "$1"; then
        printf 'the kept volume on %s has faults, and they are not ours to mend\n' "$2" >&2
        return 1
    fi
    v_volume=$2
    verb_esp_look "$v_volume" verb_files_as_listed "$v_list" || return 1
    say '    An earlier run was cut off: the EFI system partition is mended, and its foreign files are compared.'
    fsck.fat -a "$v_volume"
    verb_fat_read "$v_volume"
    if [ "$v_fat" = faults ]; then
        cat "$WORK/fat" >&2
        return 1
    fi
    verb_esp_look "$v_volume" verb_files_as_listed "$v_list"
}
