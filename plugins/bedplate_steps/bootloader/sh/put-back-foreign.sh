# put-back-foreign asked|strange PARTUUID ESP all|loaders PATH...: where a package of the new system replaced a file that
# was listed before our work on the EFI system partition mounted at ESP, or it is gone, fetch it from the archive of before
# and prove it. strange: then fail, and name the file: somebody has to say why. asked: a package that the plan asks for is
# known to write there; what it put into \EFI\BOOT beside goes. What the new system has not itself, the other system or a
# person wrote since: that is named and left, and so is any other file that came, but below the PATHs.
# uses: also-in-target esp-is-unchanged files-as-listed
verb_put_back_foreign() {
    v_list=$TARGET/var/lib/bedplate/boot/esp.sha256 v_archive=$TARGET/var/lib/bedplate/boot/esp.tar
    [ ! -e "$COPIES/esp-$2.tar" ] || v_archive=$COPIES/esp-$2.tar
    v_asked=$1
    shift 2
    v_esp=$1
    if ! (cd -- "$v_esp" && verb_files_as_listed "$v_list") 2>/dev/null; then
        sed -n 's/^\(\..*\): FAILED.*$/\1/p' "$WORK/compared" >"$WORK/changed"
        v_newer=
        while IFS= read -r v_name; do
            if [ -e "$v_esp/$v_name" ] && ! verb_also_in_target "$v_esp/$v_name" "$v_esp"; then
                v_newer=yes
                printf '%s was changed since the copies were made, and no package of the new system has it: it stays\n' \
                    "$v_name" >&2
                continue
            fi
            printf 'the installation of the packages changed %s, which is not ours\n' "$v_name" >&2
            tar -xOf "$v_archive" -- "$v_name" >"$WORK/file" || return 1
            mkdir -p -- "$v_esp/${v_name%/*}" && cp -- "$WORK/file" "$v_esp/$v_name" || return 1
        done <"$WORK/changed"
        rm -f -- "$WORK/file"
        sync
        [ -z "$v_newer" ] || return 1
        (cd -- "$v_esp" && verb_files_as_listed "$v_list") || return 1
        printf 'each is put back from the archive of before, and is as listed\n' >&2
        [ "$v_asked" = asked ] || return 1
    fi
    case "$v_asked $* " in
        asked*' EFI/BOOT '*) v_asked=ours ;;
    esac
    if [ "$v_asked" = asked ]; then
        for v_file in "$v_esp"/EFI/BOOT/*; do
            if [ ! -f "$v_file" ] || grep -Fqi -e "  ./EFI/BOOT/${v_file##*/}" -- "$v_list" ||
                ! verb_also_in_target "$v_file" "$v_esp"; then
                continue
            fi
            printf '%s came with a package of the loader, and goes\n' "$v_file"
            rm -f -- "$v_file" || return 1
        done
    fi
    verb_esp_is_unchanged "$@"
}
