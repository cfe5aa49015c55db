// Text from a disk in any character set comes out as UTF-8 that can be shown and put into JSON.
#include <nlohmann/json.hpp>

#include "core/charset.h"
#include "fuzz/input.h"
#include "report/json_text.h"

using namespace platter;  // NOLINT(google-build-using-namespace): a program of one function

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const fuzz::Input input(data, size);
  for (const Charset charset : {Charset::ascii, Charset::latin1, Charset::ucs2_be,
                                Charset::utf16_le, Charset::hfs_roman, Charset::cp437}) {
    const Decoded decoded = decode_text(input.text(), charset);
    fuzz::promise(is_utf8(decoded.utf8), "decoded text is UTF-8");
    std::string quoted;
    append_json_text(quoted, decoded.utf8);
    const auto parsed = nlohmann::json::parse(quoted, nullptr, false);
    fuzz::promise(parsed.is_string() && parsed.get<std::string>() == decoded.utf8,
                  "text comes back from JSON as it was");
    (void)columns_of(decoded.utf8);
  }
  // What is shown need not have been decoded: paths of this machine, archive members.
  const std::string shown = printable(input.text());
  fuzz::promise(std::ranges::none_of(shown, [](char c) { return c == '\x1B' || c == '\n'; }),
                "shown text is safe for a terminal");
  return 0;
}
