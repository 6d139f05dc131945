# home-present UID FOLDER: the target has the home folder, of that number and for it alone, with what the target gives to
# new accounts (useradd(8), /etc/skel); made beside its place and renamed. A file system of its own mounted there that
# still belongs to root is handed over, the folder itself last. Any other that is there already is left alone.
verb_home_present() {
    v_new=$2.new
    if [ -d "$TARGET$2" ]; then
        v_home=$(stat -c %u:%d -- "$TARGET$2") && v_above=$(stat -c %d -- "$TARGET${2%/*}/") || return 1
        case $v_home in
            "0:$v_above") return 0 ;;
            0:*) ;;
            *) return 0 ;;
        esac
        # Not cp -n: some versions of coreutils end with a failure where a file is there already.
        in_target sh -c '[ ! -d /etc/skel ] || { cd /etc/skel && find . -mindepth 1 | while IFS= read -r one; do
                [ -e "$1/$one" ] || [ -L "$1/$one" ] || cp -a "$one" "$1/$one" || exit 1
            done && cd "$1" && find /etc/skel -mindepth 1 -printf "%P\\0" | xargs -0 -r chown -h -- "$2"; } &&
            chmod 0700 "$1" && sync && chown "$2" "$1"' sh "$2" "$1:$1" || return 1
        sync
        return 0
    fi
    in_target sh -c 'mkdir -p "$1" && { [ ! -d /etc/skel ] || cp -a /etc/skel/. "$1/"; } && chown -R "$2" "$1" &&
        chmod 0700 "$1"' sh "$v_new" "$1:$1" || return 1
    sync
    in_target mv -T "$v_new" "$2" || return 1
}
