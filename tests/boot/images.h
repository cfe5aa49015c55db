// Bootable images, one builder for each family of firmware. Each prints the line of its name when
// it is started: platter::fixtures::boot_line(name).
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace platter::test {

using Bytes = std::vector<std::byte>;

/// What an El Torito image poses as.
enum class Emulation : std::uint8_t { none, floppy, disk };

[[nodiscard]] Bytes make_i386_disk();    ///< MBR with code, one active slice
[[nodiscard]] Bytes make_i386_floppy();  ///< a boot sector and nothing else, 1.44 MB
[[nodiscard]] Bytes make_el_torito_disc(Emulation emulation);
[[nodiscard]] Bytes
make_hppa_volume();  ///< LIF volume with an initial program; disk and disc alike
[[nodiscard]] Bytes
make_sparc_disk();  ///< Sun label, slice a at cylinder 2, an a.out program in it
[[nodiscard]] Bytes make_sparc64_disk();  ///< the same with an FCode program
/// Sun label of an install disc; slice d has the a.out program, slice f the FCode program.
[[nodiscard]] Bytes make_sparc_disc();
[[nodiscard]] Bytes make_apm_disk();   ///< APM whose second entry describes boot code
[[nodiscard]] Bytes make_chrp_disc();  ///< ISO 9660 with ppc/bootinfo.txt, inside an APM entry
[[nodiscard]] Bytes make_prep_disk();  ///< MBR with a PReP boot slice
[[nodiscard]] Bytes make_pmax_disk();
[[nodiscard]] Bytes make_sgi_disk();

// Places in those images, for what is spoiled.
inline constexpr std::size_t kBlock = 512;
inline constexpr std::size_t kI386SliceFirst = 63;            ///< block
inline constexpr std::size_t kSunSliceFirst = 2 * 32;         ///< block: cylinder 2
inline constexpr std::size_t kDiscSliceD = std::size_t{640};  ///< block: cylinder 1
inline constexpr std::size_t kDiscSliceF = std::size_t{640} * 2;
inline constexpr std::size_t kIplStart = 4096;  ///< byte
inline constexpr std::size_t kIplBytes = 2048;
inline constexpr std::size_t kApmBootFirst = 64;                          ///< block
inline constexpr std::size_t kPrepFirst = 8;                              ///< block
inline constexpr std::size_t kPmaxProgramFirst = 1;                       ///< block
inline constexpr std::size_t kSgiProgramFirst = 2;                        ///< block
inline constexpr std::size_t kElToritoRecordAt = std::size_t{17} * 2048;  ///< byte

/// Byte place of the boot catalog that the boot record names.
[[nodiscard]] std::size_t catalog_of(const Bytes& disc);

/// Copies `part` into `image` at a byte; the image is long enough.
void put(Bytes& image, std::size_t at, const Bytes& part);
/// Fills a range with zeros.
void wipe(Bytes& image, std::size_t at, std::size_t bytes);

}  // namespace platter::test
