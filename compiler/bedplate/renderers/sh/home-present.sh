# home-present UID FOLDER: the target has the home folder, of that number and for it alone, with what the target gives to
# new accounts (useradd(8), /etc/skel); made beside its place and renamed. One that is there already is left alone.
verb_home_present() {
    [ ! -d "$TARGET$2" ] || return 0
    v_new=$2.new
    in_target sh -c 'mkdir -p "$1" && { [ ! -d /etc/skel ] || cp -a /etc/skel/. "$1/"; } && chown -R "$2" "$1" &&
        chmod 0700 "$1"' sh "$v_new" "$1:$1" || return 1
    sync
    in_target mv -T "$v_new" "$2" || return 1
}
