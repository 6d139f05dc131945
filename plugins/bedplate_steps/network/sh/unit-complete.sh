# unit-complete ROOT UNIT: the unit's file and the program it starts exist in the system whose root folder is ROOT.
verb_unit_complete() {
    v_root=${1%/}
    v_name=$2
    case $v_name in
        *@*.*) v_name="${v_name%%@*}@.${v_name##*.}" ;;
    esac
    for v_folder in etc/systemd/system usr/lib/systemd/system lib/systemd/system; do
        v_file=$v_root/$v_folder/$v_name
        [ -f "$v_file" ] && [ -s "$v_file" ] && break
        v_file=
    done
    if [ -z "$v_file" ]; then
        printf 'there is no unit file %s\n' "$v_name" >&2
        return 1
    fi
    v_program=$(sed -n 's/^ExecStart=[-@:+!|]*\([^[:blank:]]*\).*/\1/p' "$v_file") || return 1
    for v_path in $v_program; do
        if ! in_target test -x "$v_path"; then
            printf '%s starts %s, which is not installed\n' "$2" "$v_path" >&2
            return 1
        fi
    done
}
