# userland-is amd64|arm64: the live medium's kernel and its programs are of that architecture: what is started in the
# target has to run. A program says so in its head (System V ABI, ELF header, e_machine).
verb_userland_is() {
    case $1 in
        amd64) v_kernel=x86_64 v_machine=62 ;;
        *) v_kernel=aarch64 v_machine=183 ;;
    esac
    v_here=$(uname -m)
    v_programs=$(od -A n -t u2 -j 18 -N 2 "/proc/$$/exe" | tr -d ' ')
    [ "$v_here:$v_programs" = "$v_kernel:$v_machine" ] && return 0
    printf 'the kernel of the medium is %s, its programs are of the kind %s; wanted: %s, %s\n' \
        "$v_here" "${v_programs:-unknown}" "$v_kernel" "$v_machine" >&2
    return 1
}
