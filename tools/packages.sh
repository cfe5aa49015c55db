# Which Debian packages the project needs, and how they get installed.
#
# For sh scripts: `. tools/packages.sh`, then call one of the functions below. Each one prints what it
# is about to do, installs only what is missing, and returns 1 with a message when that did not work.
#
#   need_build_packages      for the library, the program and the demo
#   need_test_packages       for the tests: second opinions, image makers, real boot media
#   need_witness_packages    for the witness tests: emulators that boot the images, and a kernel
#   need_fuzz_packages       for the fuzz targets: the compiler that brings their engine
#   need_packages NAME...    for anything else
#
# shellcheck shell=sh

need_build_packages() {
  need_packages \
    g++ cmake ninja-build \
    libboost-iostreams-dev libfmt-dev libcli11-dev libarchive-dev libtomlplusplus-dev \
    nlohmann-json3-dev libssl-dev
}

# Of the real boot media, debian-installer-12-netboot-amd64 is by far the largest: 133 MB to download,
# 143 MB on disk. The next are grub-rescue-pc with 2.5 MB and ipxe with 1.2 MB.
need_test_packages() {
  need_packages \
    catch2 libbenchmark-dev \
    libblkid-dev libfdisk-dev libparted-dev libcdio-dev libiso9660-dev libext2fs-dev zlib1g-dev \
    makefs mtools hfsutils xfsprogs xorriso genisoimage e2fsprogs dosfstools \
    grub-rescue-pc memtest86+ debian-installer-12-netboot-amd64 isolinux syslinux-common ipxe palo
}

# The boot firmware for sparc, ppc and hppa comes with qemu-system-data, for the PC with seabios; the
# emulators depend on both. hppa is in qemu-system-misc. About 77 MB to download, 357 MB on disk. The
# kernel is fetched by tests/kernel/fetch and never installed.
need_witness_packages() {
  need_packages \
    qemu-system-x86 qemu-system-misc qemu-system-sparc qemu-system-ppc gxemul
}

# About 52 MB to download, 305 MB on disk.
need_fuzz_packages() {
  need_packages clang-19 libclang-rt-19-dev
}

need_packages() {
  if ! command -v dpkg-query >/dev/null 2>&1 || ! command -v apt-get >/dev/null 2>&1; then
    packages_say "this system has no dpkg-query and apt-get, so nothing can be installed here" \
      "what Debian 12 calls: $*"
    return 1
  fi

  packages_missing=$(packages_not_installed "$@")
  if [ -z "$packages_missing" ]; then
    echo "packages: all $# are installed already"
    return 0
  fi

  packages_sudo=
  if [ "$(id -u)" -ne 0 ]; then
    packages_sudo=sudo
    if ! command -v sudo >/dev/null 2>&1; then
      packages_say "installing needs root, and there is no sudo; as root, run:" \
        "apt-get install --no-install-recommends $packages_missing"
      return 1
    fi
  fi

  packages_log=$(mktemp) || return 1
  packages_status=0
  packages_install || packages_status=1
  rm -f "$packages_log"
  return "$packages_status"
}

# Installs $packages_missing; on failure says which are missing still, and why.
packages_install() {
  echo "packages: to be installed: $packages_missing"
  echo "packages: apt-get update"
  if ! packages_apt update >"$packages_log" 2>&1; then
    packages_tail
    packages_say "apt-get update failed; going on with the package lists at hand"
  fi

  # The sizes, to know how long this may take; a refused trial run says so again below.
  # shellcheck disable=SC2086 # a list of names
  packages_apt install --no-install-recommends --assume-no $packages_missing 2>/dev/null |
    sed -n -e 's/^Need to get /packages: to download: /p' -e 's/^After this operation, /packages: afterwards /p'

  echo "packages: apt-get install --no-install-recommends $packages_missing"
  # shellcheck disable=SC2086 # a list of names
  if ! packages_apt install --yes --no-install-recommends $packages_missing >"$packages_log" 2>&1; then
    packages_tail
    # shellcheck disable=SC2086 # a list of names
    packages_missing=$(packages_not_installed $packages_missing)
    packages_say "apt-get install failed; not installed: ${packages_missing:-none of the asked ones}"
    return 1
  fi

  # shellcheck disable=SC2086 # a list of names
  packages_missing=$(packages_not_installed $packages_missing)
  if [ -n "$packages_missing" ]; then
    packages_say "apt-get install reported success, but these are not installed: $packages_missing"
    return 1
  fi
  echo "packages: installed"
}

# Runs apt-get as root: no questions, messages in English, and some patience with another apt-get.
packages_apt() {
  # shellcheck disable=SC2086 # sudo or nothing
  $packages_sudo env DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8 \
    apt-get -q -o DPkg::Lock::Timeout=300 "$@" </dev/null
}

# Prints those of the names that are not fully installed, on one line.
packages_not_installed() {
  packages_list=
  for packages_name; do
    # shellcheck disable=SC2016 # dpkg-query fills the field in
    dpkg-query --show --showformat='${db:Status-Status}\n' "$packages_name" 2>/dev/null |
      grep -qx installed || packages_list="$packages_list${packages_list:+ }$packages_name"
  done
  printf '%s' "$packages_list"
}

packages_tail() {
  tail -n 20 "$packages_log" | sed 's/^/    /' >&2
}

packages_say() {
  printf 'packages: %s\n' "$@" >&2
}
