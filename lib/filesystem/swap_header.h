// Header of a Linux swap area, shared by the decoder and the tests.
#pragma once

#include "core/layout.h"

namespace platter::filesystem {

// The signature stands in the last ten bytes of the first page.
inline constexpr std::string_view kSwapOldSignature = "SWAP-SPACE";
inline constexpr std::string_view kSwapSignature = "SWAPSPACE2";
inline constexpr std::uint64_t kSwapVersion = 1;

// A list of bad pages, 32 bits each, follows up to the signature.
inline constexpr Field kSwapHeaderFields[] = {
    u32("version", 0, "1"),
    u32("last_page", 4, "number of the last page"),
    u32("nr_badpages", 8, "bad pages in the list behind this header"),
    bytes("uuid", 12, 16, "identifier"),
    text("volume_name", 28, 16, "label"),
    reserved(44, 468),
};
inline constexpr Structure kSwapHeader =
    structure("swap header", "Linux include/linux/swap.h, union swap_header, from byte 1024", 512,
              kSwapHeaderFields);
inline constexpr std::uint64_t kSwapHeaderPlace = 1024;

}  // namespace platter::filesystem
