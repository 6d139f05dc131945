# boot-files-found KEY BASE kept|new PATTERN...: the files in BASE where one of the PATTERNs fits, without those that were
# listed there before (kept), into $WORK/boot-files. FAT has names that differ in case only once.
verb_boot_files_found() {
    v_listed=$TARGET/var/lib/bedplate/boot/esp.sha256 v_base=$2
    : >"$WORK/boot-listed" || return 1
    if [ "$3" = kept ]; then
        sed 's/^[^ ]*  //' "$v_listed" | tr '[:lower:]' '[:upper:]' >"$WORK/boot-listed" || return 1
    fi
    shift 3
    for v_pattern in "$@"; do
        shift
        set -- "$@" -o -ipath "./$v_pattern"
    done
    shift
    (cd -- "$v_base" && find . -type f \( "$@" \)) >"$WORK/boot-found" || return 1
    while IFS= read -r v_file; do
        printf '%s\n' "$v_file" | tr '[:lower:]' '[:upper:]' >"$WORK/boot-name"
        grep -Fqx -f "$WORK/boot-name" "$WORK/boot-listed" || printf '%s\n' "$v_file"
    done <"$WORK/boot-found" >"$WORK/boot-files"
}
