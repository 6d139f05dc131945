# esp-lacks NODE PATH: the EFI system partition on NODE has no PATH (relative to its root).
# uses: esp-look
verb_esp_lacks() {
    verb_esp_look "$1" verb_esp_lacks_here "$2"
}

verb_esp_lacks_here() {
    [ ! -e "./$1" ] && return 0
    printf 'the EFI system partition holds %s already\n' "$1" >&2
    return 1
}
