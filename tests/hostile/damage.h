// Damage that real and hostile images have: cut anywhere, any byte wrong.
#pragma once

#include <cstddef>
#include <functional>
#include <string>
#include <vector>

namespace platter::test {

/// One good image and where its structures stand.
struct Specimen {
  std::string name;
  std::vector<std::byte> bytes;
};

/// Every text fixture and one image of every writer.
[[nodiscard]] std::vector<Specimen> specimens();

}  // namespace platter::test
