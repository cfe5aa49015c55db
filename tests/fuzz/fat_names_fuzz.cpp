// The entries of a FAT directory: short names, parts of long ones, times.
#include "core/charset.h"
#include "filesystem/fat_names.h"
#include "fuzz/input.h"

using namespace platter;              // NOLINT(google-build-using-namespace)
using namespace platter::filesystem;  // NOLINT(google-build-using-namespace)

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Input input(data, size);
  FatLongName long_name;
  while (input.bytes().size() >= kFatEntry.bytes) {
    const std::byte* bytes = input.take_first(kFatEntry.bytes).data();
    const FatEntry entry(bytes, ByteOrder::little);
    const FatShortName short_name(entry);
    fuzz::promise(short_name.text().size() <= 12, "a short name is short");
    (void)decode_text(short_name.text(), Charset::cp437);
    (void)fat_time(entry.get<"modified_date">(), entry.get<"modified_time">());
    (void)is_dot_entry(entry, 2);
    // Every entry is offered in both roles; which one it has depends on a byte that the fuzzer
    // would have to hit.
    if (const auto name = long_name.name_for(entry)) {
      fuzz::promise(name->size() % 2 == 0 && name->size() <= 2 * 20 * 13, "a long name's length");
      (void)is_legal_long_name(*name);
      (void)decode_text(*name, Charset::utf16_le);
    }
    (void)long_name.add(FieldReader<kFatLongName>(bytes, ByteOrder::little));
  }
  return 0;
}
