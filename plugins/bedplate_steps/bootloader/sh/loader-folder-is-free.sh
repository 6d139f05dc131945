# loader-folder-is-free PARTUUID FOLDER early|new|ready: the EFI system partition has no \EFI\FOLDER. early: or work has begun,
# and it may be ours. ready: the family's package brings it; then it may have come with that, if the list of before lacks it.
# uses: esp-lacks foreign-list ours-in-table partition-node
verb_loader_folder_is_free() {
    verb_partition_node "$1" || return 1
    verb_esp_lacks "$v_node" "EFI/$2" && return 0
    verb_ours_in_table || return 1
    case $3 in
        early) return 0 ;;
        ready) verb_foreign_list "$1" && ! grep -Fqi -e "  ./EFI/$2/" -- "$v_list" ;;
        *) return 1 ;;
    esac
}
